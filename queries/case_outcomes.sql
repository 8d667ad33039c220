-- name: case_outcomes
-- answers: What is on record of these episodes after the advice: visits, follow-up, case reviews?
-- param: episodes episodes, pseudonyms of episodes, separated by commas
-- column: episode, pseudonym of the episode
-- column: source, vet, owner_follow_up, panel or advisor
-- column: route, how it came to be known
-- column: practice, of a visit; empty if not stated
-- column: seen_at, UTC
-- column: vet_level, level of the outcome; empty if not stated
-- column: disposition, what became of the animal; empty if not stated
-- column: diagnosis_group, coded; empty if not stated
-- column: euthanasia_reason, empty if not stated
-- column: no_attend_reason, why the animal did not attend; empty if not stated
-- column: responded, yes, no, or empty if it is not on record whether the owner answered
-- column: reviewer, pseudonym of who reviewed the case; empty if nobody did
-- column: foreseeable, yes, no, unsure, or empty
-- column: avoidable, yes, no, unsure, or empty
-- column: review_reason, the reviewer's reason, or empty
-- row: one row per outcome, in the order of time
WITH wanted AS (SELECT DISTINCT TRY_CAST(unnest(string_split($episodes::VARCHAR, ',')) AS UUID) AS wanted)
SELECT episode::VARCHAR AS episode, source, route, coalesce(practice, '') AS practice, seen_at::TIMESTAMP AS seen_at, coalesce(vet_level, '') AS vet_level,
  coalesce(disposition, '') AS disposition, coalesce(diagnosis_group, '') AS diagnosis_group, coalesce(euthanasia_reason, '') AS euthanasia_reason,
  coalesce(no_attend_reason, '') AS no_attend_reason, CASE WHEN responded THEN 'yes' WHEN NOT responded THEN 'no' ELSE '' END AS responded,
  coalesce(reviewer::VARCHAR, '') AS reviewer, coalesce(foreseeable, '') AS foreseeable, coalesce(avoidable, '') AS avoidable, coalesce(review_reason, '') AS review_reason
FROM outcomes JOIN wanted ON outcomes.episode = wanted.wanted
ORDER BY episode, outcomes.seen_at, source, outcome
