-- name: replay_episodes
-- answers: Which episodes with a known need for care on the same day would proposed rules put on the other side of a cut? A list for
--   discussion: every animal in need that is newly missed, and the first of the other kinds.
-- param: current rules, the rules to compare with: a rules file, or in_force for those of the store
-- param: proposed rules, the rules that are proposed, likewise
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: most number, how many of each kind but the newly missed to list
-- column: kind, missed or caught of animals in need; extra or spared of the others
-- column: emergency, whether the cut at emergency is crossed in that way
-- column: same_day, whether the cut at same day is
-- column: episode, pseudonym of the episode
-- column: call, pseudonym of the record that opened it, which is the same
-- column: started_at, first contact, UTC
-- column: month, yyyymm
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: age_months, age in months, null not recorded
-- column: complaint, coded
-- column: level, advice at the first contact, 0 none
-- column: old_level, level that the current rules demand, 0 undetermined
-- column: new_level, level that the proposed rules demand, 0 undetermined
-- column: new_high, the highest level they may demand once unknown answers are known
-- column: need_emergency, 1 needed it, 0 did not, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: route, how the outcome came to be known
-- column: disposition, what became of the animal
-- column: died, whether the animal died or was put to sleep
-- column: outcome_hours, hours from the first contact to the outcome, null unknown
-- column: old_fired, positions of the flags of the current rules that fired
-- column: new_fired, positions of the flags of the proposed rules that fired
-- row: one row per kind and episode, worst first
WITH crossed AS (
  SELECT *, old_level >= 4 AS old_e, new_level >= 4 AS new_e, old_level >= 3 AS old_s, new_level >= 3 AS new_s
  FROM {{moved}}
  WHERE month BETWEEN $from_month AND $to_month AND need_same_day >= 0 AND ((old_level >= 4) <> (new_level >= 4) OR (old_level >= 3) <> (new_level >= 3))
), kinds AS (
  SELECT c.*, k.kind, k.emergency, k.same_day
  FROM crossed c, LATERAL (VALUES
    ('missed', need_emergency = 1 AND old_e AND NOT new_e, need_same_day = 1 AND old_s AND NOT new_s),
    ('caught', need_emergency = 1 AND new_e AND NOT old_e, need_same_day = 1 AND new_s AND NOT old_s),
    ('extra', need_emergency = 0 AND new_e AND NOT old_e, need_same_day = 0 AND new_s AND NOT old_s),
    ('spared', need_emergency = 0 AND old_e AND NOT new_e, need_same_day = 0 AND old_s AND NOT new_s)) k(kind, emergency, same_day)
  WHERE k.emergency OR k.same_day
), listed AS (
  SELECT * FROM kinds
  QUALIFY kind = 'missed' OR row_number() OVER (PARTITION BY kind ORDER BY died DESC, started_at, episode) <= $most
)
SELECT kind, emergency, same_day, episode, episode AS call, started_at, month, site, species,
  age_months, complaint, level, old_level, new_level, new_high,
  need_emergency, need_same_day, route, disposition, died, outcome_minutes / 60.0 AS outcome_hours,
  {{oldFired}} AS old_fired, {{newFired}} AS new_fired
FROM (SELECT *{{unpackedWords}} FROM listed)
ORDER BY CASE kind WHEN 'missed' THEN 0 WHEN 'caught' THEN 1 WHEN 'extra' THEN 2 ELSE 3 END, died DESC, need_emergency DESC, started_at, episode
