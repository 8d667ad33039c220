-- name: flag_not_assessed
-- answers: Why was a flag unknown, and was the animal escalated and in need all the same? Not assessed is not normal.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- column: flag, position in the rules file, from 0
-- column: state, the most telling state among the findings it reads: declined, not_possible, unreadable,
--   stopped_early, not_asked, or animal_not_described where a property of the animal is missing
-- column: escalated, whether the advice was at or above the cut
-- column: need, 1 needed, 0 not needed, -1 not verified
-- column: mature, whether outcomes had time to arrive
-- column: n, episodes
-- row: one row per flag, state, escalation, need and maturity
WITH c AS MATERIALIZED (
  -- Read once: the parts below would each open every file again.
  SELECT level >= $cut AS escalated, CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need,
    started_at < $mature_before AS mature{{words}}{{range findings}}, {{.Column}}{{end}}
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
)
{{range $i, $f := flagList}}{{if $i}}UNION ALL
{{end}}SELECT {{$f.Bit}} AS flag, {{$f.State}} AS state, escalated, need, mature, count(*) AS n
FROM c
WHERE {{$f.Unknown}}
GROUP BY ALL
{{else}}SELECT 0 AS flag, '' AS state, false AS escalated, 0 AS need, false AS mature, 0::BIGINT AS n FROM c WHERE false
{{end}}ORDER BY ALL
