-- name: flag_patterns
-- answers: Which flags fired together, what was advised and what was needed? What only one flag caught, and which
--   answers decided the advice, are sums of these rows.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: fired, positions of the flags that fired, from 0
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: need_emergency, 1 needed, 0 not needed, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: mature, whether outcomes had time to arrive
-- column: n, episodes
-- row: one row per pattern of flags, level, need and maturity that occurs
SELECT list_filter([{{range $i, $f := flagList}}{{if $i}}, {{end}}CASE WHEN {{$f.Present}} THEN {{$f.Bit}} END{{end}}]::INTEGER[], lambda x: x IS NOT NULL) AS fired,
  level, need_emergency, need_same_day, mature, n
FROM (
  SELECT level, need_emergency, need_same_day, mature{{firedWords}}, sum(n)::BIGINT AS n
  FROM {{alike "$mature_before"}}
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
ORDER BY ALL
