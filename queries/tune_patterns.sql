-- name: tune_patterns
-- answers: How far did each reading lie beyond the candidate thresholds of several flags at once, and did the rest of
--   the rules send the animal in anyway? What any combination of thresholds would have done is a sum of these rows. By
--   name it counts the rules in force with nothing tuned.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level, and the level that rules must demand: same_day or emergency
-- column: of_month, month of the first contact, yyyymm
-- column: present, whether the rules in force demand the cut
-- column: rest, whether they do without the tuned flags
-- column: bins, for each tuned flag how many of its candidate thresholds are met, counted from the one that is met
--   most often; negative where it is not known whether they are
-- column: need, 1 needed, 0 not needed, -1 not verified
-- column: route, 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: mature, whether outcomes had time to arrive
-- column: stratum, the recorded properties beside the level
-- column: n, episodes
-- row: one row per month, answer of the rules, pattern of candidate thresholds, need, route, level, maturity and stratum
WITH c AS (SELECT * FROM cases WHERE month BETWEEN $from_month AND $to_month)
SELECT of_month, present, rest, bins, need, route, level, mature, {{stratum}} AS stratum, n
FROM (
  -- A record on which nothing was assessed has no level, whatever its thresholds.
  SELECT month AS of_month, rule_level >= $cut::INTEGER AS present, rule_level > 0 AND {{tuneRest "$cut::INTEGER"}} AS rest,
    CASE WHEN rule_level = 0 THEN {{tuneNothing}} ELSE {{tuneBins}} END AS bins,
    CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need, route, level, started_at < $mature_before AS mature,
    {{strata}}count(*) AS n
  FROM ({{tuneRelation "c"}})
  GROUP BY ALL
)
ORDER BY ALL
