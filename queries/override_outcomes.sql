-- name: override_outcomes
-- answers: What came of advice above and below the rules, in the line as a whole? Mature episodes.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: direction, above or below the level that the rules said on the telephone
-- column: episodes, so advised at the first contact
-- column: known, whose need for care on the same day became known
-- column: needed, that needed it
-- row: one row per direction
SELECT CASE WHEN level > recorded_rule_level THEN 'above' ELSE 'below' END AS direction, count(*) AS episodes,
  count(*) FILTER (need_same_day >= 0) AS known, count(*) FILTER (need_same_day = 1) AS needed
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before AND level > 0 AND recorded_rule_level > 0 AND level <> recorded_rule_level
GROUP BY ALL
ORDER BY direction
