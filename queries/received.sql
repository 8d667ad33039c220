-- name: received
-- answers: What became of every triage record that was received: left out as not clinical, the first of its episode,
--   or a further one?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: contact_type, clinical, or why it is left out: test, abandoned, not_clinical, dead_before_call, third_party
-- column: place, first or further of its episode; none where it belongs to no episode
-- column: records, triage records, one an animal
-- row: one row per contact type and place
SELECT contact_type, CASE WHEN episode IS NULL THEN 'none' WHEN call = episode THEN 'first' ELSE 'further' END AS place, count(*) AS records
FROM calls
WHERE episode_month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY ALL
