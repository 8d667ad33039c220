-- name: finding_states
-- answers: How often was each finding assessed, and why not, by what was advised?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, position in the dictionary, from 0
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: n, episodes
-- column: assessed, episodes with a reading
-- column: not_asked, not asked, or no record of the check
-- column: not_possible, tried, could not be done
-- column: declined, declined or unsafe
-- column: stopped_early, not asked because an emergency sign had ended the questions
-- row: one row per finding and level
WITH c AS MATERIALIZED (
  -- Read once: the parts below would each open every file again.
  SELECT level{{range findings}}, {{.Column}}{{end}} FROM cases WHERE month BETWEEN $from_month AND $to_month
), by_state AS (
  {{range $i, $f := findings}}{{if $i}}UNION ALL
  {{end}}SELECT {{$f.Position}} AS finding, level, least({{$f.Column}}, 0)::INTEGER AS state, count(*) AS n FROM c GROUP BY ALL
  {{else}}SELECT 0 AS finding, 0::TINYINT AS level, 0 AS state, 0::BIGINT AS n FROM c WHERE false
  {{end}})
SELECT finding, level, sum(n)::BIGINT AS n, coalesce(sum(n) FILTER (state >= 0), 0)::BIGINT AS assessed,
  coalesce(sum(n) FILTER (state = -1), 0)::BIGINT AS not_asked, coalesce(sum(n) FILTER (state = -2), 0)::BIGINT AS not_possible,
  coalesce(sum(n) FILTER (state = -3), 0)::BIGINT AS declined, coalesce(sum(n) FILTER (state = -4), 0)::BIGINT AS stopped_early
FROM by_state
GROUP BY finding, level
ORDER BY finding, level
