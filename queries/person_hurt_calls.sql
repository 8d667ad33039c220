-- name: person_hurt_calls
-- answers: In which calls was a person scratched or bitten, how was the animal handled, and at which check did it resist?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: month, yyyymm
-- column: call, pseudonym of the record
-- column: started_at, UTC
-- column: advisor, pseudonym of the advisor; empty if not recorded
-- column: species, of the animal; empty if not recorded
-- column: person_hurt, scratched or bitten
-- column: handling, the firmest hold recorded in the call: refused, wrapped, held, free; empty if not recorded
-- column: touched, findings that were tried with the animal held, wrapped or resisting, in the order asked
-- column: resisted, findings that the animal would not allow, in the order asked
-- row: one row per call in which a person was hurt
WITH hurt AS (
  SELECT call, episode, episode_month, started_at, advisor, person_hurt
  FROM calls
  WHERE episode_month BETWEEN $from_month AND $to_month AND contact_type = 'clinical' AND person_hurt IN ('scratched', 'bitten')
), tried AS (
  SELECT k.call, max(CASE k.handling WHEN 'refused' THEN 4 WHEN 'wrapped' THEN 3 WHEN 'held' THEN 2 WHEN 'free' THEN 1 END) AS hold,
    list(k.finding ORDER BY k.asked_at, k.seq, k.finding) FILTER (k.handling IN ('held', 'wrapped', 'refused')) AS touched,
    list(k.finding ORDER BY k.asked_at, k.seq, k.finding) FILTER (k.handling = 'refused' OR k.reason IN ('resisted', 'unsafe')) AS resisted
  FROM checks k JOIN hurt h USING (call)
  WHERE k.episode_month BETWEEN $from_month AND $to_month AND k.observer IS DISTINCT FROM 'vet'
  GROUP BY k.call
)
SELECT h.episode_month AS month, h.call::VARCHAR AS call, h.started_at::TIMESTAMP AS started_at, coalesce(h.advisor::VARCHAR, '') AS advisor, coalesce(o.species, '') AS species,
  h.person_hurt, CASE t.hold WHEN 4 THEN 'refused' WHEN 3 THEN 'wrapped' WHEN 2 THEN 'held' WHEN 1 THEN 'free' ELSE '' END AS handling,
  coalesce(t.touched, [])::VARCHAR[] AS touched, coalesce(t.resisted, [])::VARCHAR[] AS resisted
FROM hurt h LEFT JOIN tried t USING (call) LEFT JOIN (SELECT call, species FROM calls WHERE episode_month BETWEEN $from_month AND $to_month) o ON o.call = h.episode
ORDER BY h.started_at, h.call
