-- name: level_outcome
-- answers: Which level did the vet see among episodes of each advised level, and how was it known?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: vet_level, level the outcome gives, 0 none or not stated to 4 emergency
-- column: route, 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: mature, whether outcomes had time to arrive
-- column: n, episodes
-- row: one row per advised level, vet level, route and maturity that occurs
SELECT level, coalesce(vet_level, 0) AS vet_level, route, started_at < $mature_before AS mature, count(*) AS n
FROM cases
WHERE month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY ALL
