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
WITH counted AS (
  -- A histogram a column costs a tenth of a row for each episode and column.
  SELECT level, count(*) AS n, [{{range $i, $f := findings}}{{if $i}}, {{end}}histogram(least({{$f.Column}}, 0)::INTEGER){{end}}]::MAP(INTEGER, UBIGINT)[] AS states
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY level
), by_finding AS (
  SELECT unnest(range({{nFindings}}))::INTEGER AS finding, level, n, unnest(states) AS states FROM counted
)
SELECT finding, level, n, coalesce(states[0], 0)::BIGINT AS assessed, coalesce(states[-1], 0)::BIGINT AS not_asked,
  coalesce(states[-2], 0)::BIGINT AS not_possible, coalesce(states[-3], 0)::BIGINT AS declined, coalesce(states[-4], 0)::BIGINT AS stopped_early
FROM by_finding
ORDER BY finding, level
