-- name: code_shares
-- answers: How often was each word used each month? Where the words of a column move from month to month, the coding
--   may have changed and not the animals.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: column, complaint, species, level, disposition, or the id of a coded finding
-- column: month, yyyymm
-- column: code, the word; empty if not recorded; for a finding its place counted from 1
-- column: n, episodes; for a disposition those with an outcome, for a finding those with a reading
-- row: one row per column, month and word
SELECT "column", month, code, count(*) AS n
FROM (
  SELECT month, unnest(['complaint', 'species', 'level', 'disposition'{{range coded}}, '{{.ID}}'{{end}}]) AS "column",
    unnest([coalesce(complaint, ''), coalesce(species, ''), level::VARCHAR, CASE WHEN route > 0 THEN coalesce(disposition, '') END
      {{range coded}}, CASE WHEN {{.Column}} > 0 THEN {{.Column}}::VARCHAR END{{end}}]) AS code
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
)
WHERE code IS NOT NULL
GROUP BY ALL
ORDER BY ALL
