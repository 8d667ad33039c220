-- name: flag_counts
-- answers: How often was each flag present, absent or unknown, among episodes of each advice, need, route and stratum?
--   Every two-by-two table of a flag, by route or stratum, is a sum of these rows.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- column: flag, position in the rules file, from 0
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: need, 1 needed, 0 not needed, -1 not verified
-- column: route, 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: mature, whether outcomes had time to arrive
-- column: stratum, the recorded properties beside the level
-- column: present, episodes on which the flag fired
-- column: absent, episodes on which the flag was ruled out
-- column: unknown, episodes on which it neither fired nor was ruled out
-- row: one row per flag, level, need, route, maturity and stratum that occurs
WITH patterns AS (
  SELECT level, CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need, route, mature{{words}}, {{strata}}sum(n)::BIGINT AS n
  FROM {{alike "$mature_before"}}
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
SELECT unnest(range({{nFlags}}))::INTEGER AS flag, level, need, route, mature, {{stratum}} AS stratum,
  unnest(present) AS present, n - unnest(present) - unnest(unknown) AS absent, unnest(unknown) AS unknown
FROM (
  SELECT level, need, route, mature, {{strata}}sum(n)::BIGINT AS n, {{flagTotals "present"}} AS present, {{flagTotals "unknown"}} AS unknown
  FROM patterns
  GROUP BY ALL
)
ORDER BY flag, level, need, route, mature, stratum
