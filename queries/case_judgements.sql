-- name: case_judgements
-- answers: How did reviewers judge cases, and what do advisors contest?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: episode, pseudonym of the episode
-- column: source, panel or advisor
-- column: reviewer, pseudonym of who judged; empty if not recorded
-- column: vet_level, level that the reviewer found to have been needed; empty if not stated
-- column: foreseeable, yes, no, unsure, or empty
-- column: avoidable, yes, no, unsure, or empty
-- column: review_reason, coded, or empty
-- row: one row per judgement
SELECT episode::VARCHAR AS episode, source, coalesce(reviewer::VARCHAR, '') AS reviewer, coalesce(vet_level, '') AS vet_level, coalesce(foreseeable, '') AS foreseeable,
  coalesce(avoidable, '') AS avoidable, coalesce(review_reason, '') AS review_reason
FROM outcomes
WHERE episode_month BETWEEN $from_month AND $to_month AND episode IS NOT NULL AND source IN ('panel', 'advisor')
ORDER BY episode, source, reviewer, seen_at, outcome
