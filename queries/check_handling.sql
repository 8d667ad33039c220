-- name: check_handling
-- answers: Does how the animal was handled decide whether a check can be done?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, id of the finding
-- column: handling, free, held, wrapped, refused; empty if not recorded
-- column: state, done, not_possible, declined or not_asked
-- column: n, checks
-- row: one row per finding, handling and state
SELECT finding, coalesce(handling, '') AS handling, state, count(*) AS n
FROM checks
WHERE episode_month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY ALL
