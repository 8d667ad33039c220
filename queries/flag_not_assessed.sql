-- name: flag_not_assessed
-- answers: Why was a flag unknown, and was the animal escalated and in need all the same? Not assessed is not normal.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: flag, position in the rules file, from 0
-- column: state, the most telling state among the findings it reads: declined, not_possible, unreadable,
--   stopped_early, not_asked, or animal_not_described where a property of the animal is missing
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: need_emergency, 1 needed, 0 not needed, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: mature, whether outcomes had time to arrive
-- column: n, episodes
-- row: one row per flag, state, level, need and maturity that occurs
WITH seen AS (
  -- The flags that read a finding in each state, as bits: few patterns of them
  -- occur, and only those are taken apart by flag.
  SELECT level, need_emergency, need_same_day, started_at < $mature_before AS mature{{range flagWords}}, unknown_{{.Word}}{{$w := .Word}}{{range .States}},
    {{.Mask}} AS {{.Name}}_{{$w}}{{end}}{{end}}
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
), patterns AS (
  SELECT level, need_emergency, need_same_day, mature{{range flagWords}}, unknown_{{.Word}}{{$w := .Word}}{{range .States}}, unknown_{{$w}} & {{.Name}}_{{$w}} AS {{.Name}}_{{$w}}{{end}}{{end}}, count(*) AS n
  FROM seen
  GROUP BY ALL
), flagged AS (
  {{range $i, $f := flagWords}}{{if $i}}UNION ALL
  {{end}}SELECT unnest(range({{.First}}, {{.Last}}))::INTEGER AS flag, {{.First}} AS first, level, need_emergency, need_same_day, mature, n, unknown_{{.Word}} AS unknown{{$w := .Word}}{{range .States}}, {{.Name}}_{{$w}} AS {{.Name}}{{end}}
  FROM patterns
  {{else}}SELECT 0 AS flag, 0 AS first, level, need_emergency, need_same_day, mature, n, 0::UBIGINT AS unknown, 0::UBIGINT AS declined, 0::UBIGINT AS not_possible,
    0::UBIGINT AS unreadable, 0::UBIGINT AS stopped_early, 0::UBIGINT AS not_asked
  FROM patterns
  {{end}})
SELECT flag, CASE WHEN (declined >> (flag - first)::UBIGINT) & 1 = 1 THEN 'declined' WHEN (not_possible >> (flag - first)::UBIGINT) & 1 = 1 THEN 'not_possible'
    WHEN (unreadable >> (flag - first)::UBIGINT) & 1 = 1 THEN 'unreadable' WHEN (stopped_early >> (flag - first)::UBIGINT) & 1 = 1 THEN 'stopped_early'
    WHEN (not_asked >> (flag - first)::UBIGINT) & 1 = 1 THEN 'not_asked' ELSE 'animal_not_described' END AS state,
  level, need_emergency, need_same_day, mature, sum(n)::BIGINT AS n
FROM flagged
WHERE (unknown >> (flag - first)::UBIGINT) & 1 = 1
GROUP BY ALL
ORDER BY ALL
