-- name: advisor_cases
-- answers: Which mature episodes can their advisor learn from? Raised above the rules or caught by an open question and
--   needed; or needed more than was advised; the latest first. A choice for a private sheet, never a count.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: advisor, pseudonym of the advisor
-- column: kind, raised_and_needed (advised above the rules, and care was needed) or needed_more (needed more than was advised)
-- column: episode, pseudonym of the episode
-- row: one row per episode of these kinds
SELECT advisor::VARCHAR AS advisor, CASE WHEN level < CASE WHEN need_emergency = 1 THEN 4 ELSE 3 END THEN 'needed_more' ELSE 'raised_and_needed' END AS kind,
  episode::VARCHAR AS episode
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before AND advisor IS NOT NULL AND level > 0
  AND (need_same_day = 1 AND level < 3 OR need_emergency = 1 AND level < 4
    OR need_same_day = 1 AND level >= 3 AND recorded_rule_level > 0 AND level > recorded_rule_level)
ORDER BY started_at DESC, episode
