-- name: missed_cases
-- answers: Which episodes needed care at the cut and were first advised below it? A list for discussion, not a rate.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: cut level, need is need for care at this level: same_day or emergency
-- column: episode, pseudonym of the episode
-- column: call, pseudonym of the first contact
-- column: started_at, first contact, UTC
-- column: month, yyyymm
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: complaint, coded
-- column: level, advice at the first contact
-- column: later_level, highest advice at later contacts of the episode, 0 none
-- column: rule_level, level the rules demand, 0 undetermined
-- column: need_emergency, 1 needed it, 0 did not, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: vet_level, level of the outcome, 0 not stated
-- column: route, how the outcome came to be known
-- column: disposition, what became of the animal
-- column: died, whether the animal died or was put to sleep
-- column: outcome_hours, hours from the first contact to the outcome, null unknown
-- column: independent, 1 if the outcome was judged without knowing the telephone findings, 0 if not, -1 unknown
-- column: advisor, pseudonym of who took the first contact; empty if not recorded
-- column: fired, positions of the flags that fired
-- row: one row per episode, worst first
SELECT episode::VARCHAR AS episode, call::VARCHAR AS call, started_at, month, coalesce(site, '') AS site,
  coalesce(species, '') AS species, coalesce(complaint, '') AS complaint, level, later_level, rule_level,
  need_emergency, need_same_day, coalesce(vet_level, 0) AS vet_level, route, coalesce(disposition, '') AS disposition, coalesce(died, false) AS died,
  outcome_minutes / 60.0 AS outcome_hours, independent, coalesce(advisor::VARCHAR, '') AS advisor,
  list_filter([{{range $i, $f := flagList}}{{if $i}}, {{end}}CASE WHEN {{$f.Present}} THEN {{$f.Bit}} END{{end}}]::INTEGER[], lambda x: x IS NOT NULL) AS fired
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND level BETWEEN 1 AND $cut - 1 AND CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END = 1
ORDER BY died DESC, vet_level DESC, level, started_at, episode
