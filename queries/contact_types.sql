-- name: contact_types
-- answers: How many contacts were there, and how many were left out as not clinical, and why?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: contact_type, clinical, or why it is left out: test, abandoned, not_clinical, dead_before_call, third_party
-- column: contact_kind, first, call_back or re_contact; empty if not known
-- column: contacts, distinct contacts (a transfer is one)
-- column: records, triage records, one an animal
-- row: one row per contact type and kind
SELECT contact_type, coalesce(contact_kind, '') AS contact_kind, count(DISTINCT contact) AS contacts, count(*) AS records
FROM calls
WHERE episode_month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY contact_type, contact_kind
