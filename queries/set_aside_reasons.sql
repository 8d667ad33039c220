-- name: set_aside_reasons
-- answers: Which rows of the exports were refused, why, and what mends them? Over the whole store.
-- column: column, column of the export
-- column: reason, short code such as unmapped_word
-- column: expected, what the column must hold
-- column: remedy, what to do
-- column: files, how many files had it
-- column: n, rows
-- row: one row per column, reason and remedy, most frequent first
SELECT coalesce("column", '') AS "column", reason, coalesce(expected, '') AS expected, coalesce(remedy, '') AS remedy,
  count(DISTINCT file) AS files, count(*) AS n
FROM set_aside
GROUP BY ALL
ORDER BY n DESC, "column", reason, expected, remedy
