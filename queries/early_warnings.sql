-- name: early_warnings
-- answers: Which episodes show, without waiting for outcomes, that something may have gone wrong: the owner rang
--   again within 24 hours, a later contact was advised higher, the animal died, or somebody complained? Cases, not a rate.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: month, yyyymm
-- column: episode, pseudonym of the episode
-- column: call, pseudonym of the first contact
-- column: started_at, first contact, UTC
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: complaint, coded reason for the call
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: later_level, highest advice at later contacts of the episode, 0 none
-- column: recontact_24h, whether the owner rang again within 24 hours
-- column: raised_later, whether a later contact was advised higher
-- column: died, whether the animal died or was put to sleep
-- column: euthanasia_reason, why it was put to sleep; empty if it was not or no reason is known
-- column: formal_complaint, what a formal complaint was about; empty if none is on record
-- column: outcome_hours, hours from the first contact to the outcome, null unknown
-- row: one row per episode with a warning, the gravest first: death after advice to wait, complaints, the largest steps up
WITH complained AS (
  SELECT episode, max(formal_complaint) AS formal_complaint
  FROM calls
  WHERE episode_month BETWEEN $from_month AND $to_month AND episode IS NOT NULL AND formal_complaint <> 'none'
  GROUP BY episode
), warned AS (
  SELECT c.month, c.episode, c.call, c.started_at, coalesce(c.site, '') AS site, coalesce(c.species, '') AS species, coalesce(c.complaint, '') AS complaint,
    c.level, c.later_level, c.recontact_24h, c.level > 0 AND c.later_level > c.level AS raised_later, coalesce(c.died, false) AS died,
    coalesce(c.euthanasia_reason, '') AS euthanasia_reason, coalesce(k.formal_complaint, '') AS formal_complaint, c.outcome_minutes
  FROM cases c LEFT JOIN complained k USING (episode)
  WHERE c.month BETWEEN $from_month AND $to_month
    AND (c.recontact_24h OR c.level > 0 AND c.later_level > c.level OR coalesce(c.died, false) OR k.formal_complaint IS NOT NULL)
)
SELECT month, episode::VARCHAR AS episode, call::VARCHAR AS call, started_at, site, species, complaint, level, later_level, recontact_24h, raised_later,
  died, euthanasia_reason, formal_complaint, outcome_minutes / 60.0 AS outcome_hours
FROM warned
ORDER BY CASE WHEN NOT died THEN 0 WHEN level < 3 AND euthanasia_reason <> 'planned' THEN 40 ELSE 20 END + CASE WHEN formal_complaint <> '' THEN 15 ELSE 0 END
    + CASE WHEN raised_later THEN 4 * (later_level::INTEGER - level) ELSE 0 END + CASE WHEN recontact_24h THEN 1 ELSE 0 END DESC,
  month, died DESC, (formal_complaint <> '') DESC, raised_later DESC, later_level - level DESC, started_at, warned.episode
{{most}}
