-- name: not_attended
-- answers: Which animals were told to attend and did not go, and why? Not a miss of the advice.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: month, yyyymm
-- column: level, advice at the first contact, 3 same day or 4 emergency
-- column: reason, why the animal did not attend; empty if not stated
-- column: need_same_day, 1 needed care the same day, 0 did not, -1 not verified
-- column: n, episodes
-- row: one row per month, level, reason and need
SELECT month, level, coalesce(no_attend_reason, '') AS reason, need_same_day, count(*) AS n
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND level >= 3 AND attended = 0
GROUP BY ALL
ORDER BY month, level DESC, n DESC, reason, need_same_day
