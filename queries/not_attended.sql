-- name: not_attended
-- answers: Which animals were told to attend and did not go, and why? Not a miss of the advice.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: level, advice at the first contact, 3 same day or 4 emergency
-- column: reason, why the animal did not attend; empty if not stated
-- column: n, episodes
-- row: one row per level and reason
SELECT level, coalesce(no_attend_reason, '') AS reason, count(*) AS n
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND level >= 3 AND attended = 0
GROUP BY ALL
ORDER BY level DESC, n DESC, reason
