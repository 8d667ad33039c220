-- name: attendance
-- answers: Of the animals that were told to attend, how many went, did not go, or are unknown?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: level, advice at the first contact, 3 same day or 4 emergency
-- column: went, seen by a vet
-- column: stayed_away, on record as not attending
-- column: unknown, no word either way
-- row: one row per level
SELECT level, count(*) FILTER (attended = 1) AS went, count(*) FILTER (attended = 0) AS stayed_away, count(*) FILTER (attended < 0) AS unknown
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND level >= 3
GROUP BY level
ORDER BY level DESC
