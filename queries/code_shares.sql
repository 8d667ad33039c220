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
WITH counted AS MATERIALIZED (
  -- A histogram a column costs a tenth of a row for each episode and column.
  SELECT month, histogram(coalesce(complaint, '')) AS complaint, histogram(coalesce(species, '')) AS species, histogram(level::INTEGER) AS level,
    histogram(coalesce(disposition, '')) FILTER (route > 0) AS disposition{{range coded}}, histogram({{.Column}}::INTEGER) AS {{.Column}}{{end}}
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY month
), words AS (
  SELECT month, unnest(['complaint', 'species', 'disposition']) AS "column", unnest([map_entries(complaint), map_entries(species), map_entries(disposition)]) AS counts
  FROM counted
), numbers AS (
  SELECT month, unnest(['level'{{range coded}}, '{{.ID}}'{{end}}]) AS "column", unnest([map_entries(level){{range coded}}, map_entries({{.Column}}){{end}}]) AS counts
  FROM counted
), codes AS (
  SELECT "column", month, unnest(counts) AS one FROM numbers
)
SELECT "column", month, one.key AS code, one.value::BIGINT AS n FROM (SELECT "column", month, unnest(counts) AS one FROM words)
UNION ALL
SELECT "column", month, one.key::VARCHAR, one.value::BIGINT FROM codes WHERE "column" = 'level' OR one.key > 0
ORDER BY ALL
