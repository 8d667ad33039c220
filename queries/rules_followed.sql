-- name: rules_followed
-- answers: Did the advisor give what the rules demand, raise it or lower it, with or without any flag?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: any_flag, whether any flag fired
-- column: rule_level, level the rules demand, 0 undetermined to 4 emergency
-- column: rule_high, the highest level they may demand once unknown answers are known
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: need_same_day, 1 needed, 0 not needed, -1 not verified
-- column: need_emergency, the same for an emergency
-- column: mature, whether outcomes had time to arrive
-- column: n, episodes
-- row: one row per combination that occurs
SELECT {{nFired}} > 0 AS any_flag, rule_level, rule_high, level, need_same_day, need_emergency, mature, sum(n)::BIGINT AS n
FROM {{alike "$mature_before"}}
WHERE month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY ALL
