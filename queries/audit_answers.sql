-- name: audit_answers
-- answers: What did the drawn follow-up sample find, and of how many episodes was it drawn? Mature episodes with advice.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- column: level, advice at the first contact, 1 home care to 4 emergency
-- column: seen, whether a vet's visit says what was found; such an episode needs no follow-up
-- column: drawn, whether it was drawn for the sample
-- column: probability, with which it was drawn; null if not drawn or not recorded
-- column: answered, whether the owner answered and the answer settles the need
-- column: need, 1 needed it, 0 did not, -1 not known
-- column: n, episodes
-- row: one row per level, standing, probability and need
WITH one AS (
  SELECT level, route IN (1, 2) AND (CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END) >= 0 AS seen, audit_selected AS drawn,
    CASE WHEN audit_selected THEN audit_p END AS probability, audit_responded, CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before AND level > 0
)
SELECT level, seen, drawn, probability, drawn AND audit_responded AND need >= 0 AS answered, need, count(*) AS n
FROM one
GROUP BY ALL
ORDER BY ALL
