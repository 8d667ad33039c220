-- name: advisors
-- answers: Which advisors took clinical calls, and how many? In the order of the pseudonyms, which means nothing.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: advisor, pseudonym of the advisor
-- column: episodes, whose first contact she took
-- row: one row per advisor
SELECT advisor::VARCHAR AS advisor, count(*) AS episodes
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND advisor IS NOT NULL
GROUP BY advisor
ORDER BY advisor
