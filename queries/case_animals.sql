-- name: case_animals
-- answers: What did the line know of these episodes at the first contact, as the rules see it, and what became of them?
-- param: episodes episodes, pseudonyms of episodes, separated by commas
-- column: episode, pseudonym of the episode
-- column: month, yyyymm
-- column: started_at, first contact, UTC
-- column: advisor, pseudonym of the advisor; empty if not recorded
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: sex, male, female, unknown; empty if not recorded
-- column: neutered, yes, no, unknown; empty if not recorded
-- column: breed_group, coded; empty if not recorded
-- column: complaint, coded reason for the call
-- column: age_months, age, -1 if not recorded
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: later_level, highest advice at later contacts, 0 none
-- column: rule_level, level that the rules demand, 0 undetermined
-- column: recorded_rule_level, level that the rules said on the telephone, 0 not recorded
-- column: need_emergency, 1 needed it, 0 did not, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: attended, 1 seen by a vet, 0 on record as not attending, -1 unknown
-- column: outcome_hours, hours from the first contact to the outcome, null unknown
-- column: values, stored number of each finding in the order of the dictionary
-- row: one row per episode that is on record, in the order of the first contact
WITH wanted AS (SELECT DISTINCT TRY_CAST(unnest(string_split($episodes::VARCHAR, ',')) AS UUID) AS wanted)
SELECT episode::VARCHAR AS episode, month, started_at, coalesce(advisor::VARCHAR, '') AS advisor, coalesce(site, '') AS site, coalesce(species, '') AS species,
  coalesce(sex, '') AS sex, coalesce(neutered, '') AS neutered, coalesce(breed_group, '') AS breed_group, coalesce(complaint, '') AS complaint,
  coalesce(age_months, -1)::INTEGER AS age_months, level, later_level, rule_level, coalesce(recorded_rule_level, 0)::TINYINT AS recorded_rule_level,
  need_emergency, need_same_day, attended, outcome_minutes / 60.0 AS outcome_hours,
  [{{range $i, $f := findings}}{{if $i}}, {{end}}{{$f.Column}}::INTEGER{{end}}]::INTEGER[] AS values
FROM cases JOIN wanted ON cases.episode = wanted.wanted
ORDER BY started_at, episode
