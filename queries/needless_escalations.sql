-- name: needless_escalations
-- answers: Which flag sent in animals that turned out not to need it? Mature escalated episodes whose need is known, by
--   the flags that demanded the level: one alone, several together, or none.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level and escalated means advised it or more: same_day or emergency
-- column: flag, position of the flag; -1: no flag that demands the level fired, the advisor escalated
-- column: alone, whether it was the only flag that demanded the level
-- column: need, 1 needed it, 0 did not
-- column: n, episodes; one with several flags stands under each of them
-- row: one row per flag, whether it stood alone, and need
WITH sent AS (
  SELECT CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need{{firedWords}}, sum(n)::BIGINT AS n
  FROM {{alike "$mature_before"}}
  WHERE month BETWEEN $from_month AND $to_month AND mature AND level >= $cut
  GROUP BY ALL
), flagged AS (
  SELECT need, n,
    list_filter([{{range $i, $f := flagList}}{{if $i}}, {{end}}CASE WHEN {{$f.Present}} AND {{$f.Level}} >= $cut THEN {{$f.Bit}} END{{end}}]::INTEGER[], lambda x: x IS NOT NULL) AS fired
  FROM sent
  WHERE need >= 0
), known AS (
  SELECT need, n, len(fired) <= 1 AS alone, unnest(CASE WHEN len(fired) = 0 THEN [-1] ELSE fired END)::INTEGER AS flag FROM flagged
)
SELECT flag, alone, need, sum(n)::BIGINT AS n
FROM known
GROUP BY ALL
ORDER BY flag, alone DESC, need
