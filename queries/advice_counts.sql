-- name: advice_counts
-- answers: What was advised, what did the rules say, and what was found, by the recorded properties that
--   drive verification? Every two-by-two table of the advice and of the rules is a sum of these rows.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: rule_level, level the rules demand, 0 undetermined to 4 emergency
-- column: any_flag, whether any flag fired
-- column: need_emergency, 1 needed, 0 not needed, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: route, how the outcome came to be known: 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: mature, whether outcomes had time to arrive
-- column: stratum, the recorded properties beside the level
-- column: n, episodes
-- row: one row per level, rule level, need, route, maturity and stratum that occurs
SELECT level, rule_level, any_flag, need_emergency, need_same_day, route, mature, {{stratum}} AS stratum, n
FROM (
  SELECT level, rule_level, {{nFired}} > 0 AS any_flag, need_emergency, need_same_day, route, mature, {{strata}}sum(n)::BIGINT AS n
  FROM {{alike "$mature_before"}}
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
ORDER BY ALL
