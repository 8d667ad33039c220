-- name: months
-- answers: Which months does the store hold, and how many episodes?
-- column: month, yyyymm
-- column: episodes, by first clinical contact
-- row: one row per month
SELECT month, count(*) AS episodes
FROM cases
GROUP BY month
ORDER BY month
