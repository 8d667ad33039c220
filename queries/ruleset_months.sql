-- name: ruleset_months
-- answers: Which version of the rules was in force in which month?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: month, yyyymm
-- column: ruleset, as recorded on the calls; empty if not recorded
-- column: first_day, first contact under it in that month, UTC
-- column: n, episodes
-- row: one row per month and version
SELECT month, coalesce(ruleset, '') AS ruleset, min(started_at) AS first_day, count(*) AS n
FROM cases
WHERE month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY month, first_day, ruleset
