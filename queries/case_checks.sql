-- name: case_checks
-- answers: Which checks were made in these episodes, in the order in which they were asked, and what was read?
-- param: episodes episodes, pseudonyms of episodes, separated by commas
-- column: episode, pseudonym of the episode
-- column: call, pseudonym of the record
-- column: seq, number of the row within the call, 0 if not recorded
-- column: finding, id of the finding
-- column: observer, owner, advisor_video or vet; empty if not recorded
-- column: state, done, not_possible, declined or not_asked
-- column: reason, why it was not done; empty if not recorded
-- column: value_code, word of a coded finding; empty for a number or no reading
-- column: value_number, reading in the finding's unit, null for a word or no reading
-- column: handling, free, held, wrapped, refused; empty if not recorded
-- column: asked_at, UTC, null if not recorded
-- column: treated, whether treatment had begun when a vet read this; null if not known
-- row: one row per check, in the order asked within its call
WITH wanted AS (SELECT DISTINCT TRY_CAST(unnest(string_split($episodes::VARCHAR, ',')) AS UUID) AS wanted),
call_of AS MATERIALIZED (SELECT call, episode, episode_month FROM calls JOIN wanted ON calls.episode = wanted.wanted WHERE contact_type = 'clinical'),
exam AS (
  SELECT o.call, o.seen_at, bool_or(o.treatment_begun) AS treated
  FROM outcomes o JOIN call_of USING (call)
  WHERE o.source = 'vet'
  GROUP BY o.call, o.seen_at
)
SELECT c.episode::VARCHAR AS episode, k.call::VARCHAR AS call, coalesce(k.seq, 0)::SMALLINT AS seq, k.finding, coalesce(k.observer, '') AS observer, k.state, coalesce(k.reason, '') AS reason,
  coalesce(k.value_code, '') AS value_code, k.value_number, coalesce(k.handling, '') AS handling, k.asked_at::TIMESTAMP AS asked_at, e.treated
FROM checks k JOIN call_of c ON c.call = k.call AND c.episode_month = k.episode_month LEFT JOIN exam e ON e.call = k.call AND e.seen_at = k.asked_at AND k.observer = 'vet'
ORDER BY episode, (k.observer IS NOT DISTINCT FROM 'vet'), k.asked_at NULLS LAST, k.call, k.seq, k.finding
