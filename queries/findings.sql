-- name: findings
-- answers: Which columns does cases hold for findings? Names to use with the other questions.
-- column: finding, id of the finding
-- row: one row per finding
SELECT substr(column_name, 3) AS finding
FROM (DESCRIBE cases)
WHERE column_name LIKE 'f\_%' ESCAPE '\'
ORDER BY finding
