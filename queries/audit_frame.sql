-- name: audit_frame
-- answers: Which episodes may be drawn for telephone follow-up: not escalated and not known to have been seen, or
--   escalated and without a visit on record, as it was known on the day of the draw?
-- param: from_time time, first contact at or after
-- param: to_time time, first contact before
-- param: known_by time, what was written down before this moment counts as known
-- column: episode, pseudonym of the episode
-- column: call, pseudonym of the first contact
-- column: started_at, first contact, UTC
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: complaint, coded reason for the call
-- column: level, advice at the first contact, 1 home care to 4 emergency
-- column: no_show, whether a practice has noted that the animal did not come
-- column: standing, eligible; seen (a visit is on record); followed_up (a call-back reached the owner); drawn (drawn before)
-- column: drawn_since, whether an answer or an attempt of a drawn sample was written down at that moment or later
-- row: one row per episode with advice on record, in the order of the pseudonyms
WITH frame AS (
  SELECT episode, call, started_at, coalesce(site, '') AS site, coalesce(species, '') AS species, coalesce(complaint, '') AS complaint, level
  FROM cases
  WHERE started_at >= $from_time AND started_at < $to_time AND level > 0
), known AS (
  SELECT o.episode,
    bool_or(o.source = 'vet' AND coalesce(o.disposition, '') <> 'did_not_attend') AS seen,
    bool_or(coalesce(o.disposition, '') = 'did_not_attend') AS no_show,
    bool_or(o.route = 'call_back' AND o.responded IS DISTINCT FROM false AND coalesce(o.disposition, '') <> 'lost') AS followed_up,
    bool_or(o.route = 'audit') AS drawn
  FROM outcomes o JOIN frame USING (episode)
  WHERE coalesce(o.recorded_at, o.seen_at) < $known_by AND o.source IN ('vet', 'owner_follow_up')
  GROUP BY o.episode
), since AS (
  SELECT DISTINCT o.episode FROM outcomes o JOIN frame USING (episode)
  WHERE o.route = 'audit' AND coalesce(o.recorded_at, o.seen_at) >= $known_by
)
SELECT f.episode::VARCHAR AS episode, f.call::VARCHAR AS call, f.started_at, f.site, f.species, f.complaint, f.level, coalesce(k.no_show, false) AS no_show,
  CASE WHEN k.drawn THEN 'drawn' WHEN k.seen THEN 'seen' WHEN k.followed_up THEN 'followed_up' ELSE 'eligible' END AS standing, s.episode IS NOT NULL AS drawn_since
FROM frame f LEFT JOIN known k USING (episode) LEFT JOIN since s USING (episode)
ORDER BY f.episode
