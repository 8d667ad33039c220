-- name: case_contacts
-- answers: Which contacts make up these episodes, and what was said in each?
-- param: episodes episodes, pseudonyms of episodes, separated by commas
-- column: episode, pseudonym of the episode
-- column: call, pseudonym of the record
-- column: contact, pseudonym of the contact; a transfer is one contact with two records
-- column: contact_kind, first, call_back or re_contact; empty if not known
-- column: started_at, UTC
-- column: level, advice given; empty if none is on record
-- column: rule_level, what the rules said on the telephone; empty if not recorded
-- column: override_reason, why the advisor departed from the rules; empty if not recorded
-- column: safety_net, yes, no, or empty if it is not recorded whether the owner was told when to ring again
-- column: person_hurt, none, scratched, bitten; empty if not recorded
-- column: formal_complaint, none, or what a formal complaint was about; empty if not looked up
-- column: call_seconds, length of the call in seconds, null if not recorded
-- row: one row per record of a clinical contact, in the order of time
WITH wanted AS (SELECT DISTINCT TRY_CAST(unnest(string_split($episodes::VARCHAR, ',')) AS UUID) AS wanted)
SELECT episode::VARCHAR AS episode, call::VARCHAR AS call, contact::VARCHAR AS contact, coalesce(contact_kind, '') AS contact_kind,
  started_at::TIMESTAMP AS started_at, coalesce(level, '') AS level, coalesce(rule_level, '') AS rule_level, coalesce(override_reason, '') AS override_reason,
  CASE WHEN safety_net THEN 'yes' WHEN NOT safety_net THEN 'no' ELSE '' END AS safety_net, coalesce(person_hurt, '') AS person_hurt,
  coalesce(formal_complaint, '') AS formal_complaint, call_seconds
FROM calls JOIN wanted ON calls.episode = wanted.wanted
WHERE contact_type = 'clinical'
ORDER BY episode, calls.started_at, call
