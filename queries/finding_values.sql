-- name: finding_values
-- answers: How often was each value of one finding recorded, by need, route and advice? A ROC curve or a
--   likelihood ratio by value is a sum of these rows.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- param: finding finding, id of the finding
-- column: value, code counted from 1, or reading times scale; below 0 not assessed (-1 not asked, -2 not possible,
--   -3 declined, -4 stopped early)
-- column: need, 1 needed, 0 not needed, -1 not verified
-- column: route, 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: mature, whether outcomes had time to arrive
-- column: n, episodes
-- row: one row per value, need, route, level and maturity that occurs
SELECT {{finding}}::INTEGER AS value, CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need, route, level,
  started_at < $mature_before AS mature, count(*) AS n
FROM cases
WHERE month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY ALL
