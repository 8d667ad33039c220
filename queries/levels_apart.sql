-- name: levels_apart
-- answers: Which episodes were advised two or more levels below what the vet saw? The worst cells of the table of
--   levels, as cases to read, however few.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: call, pseudonym of the first contact
-- column: started_at, first contact, UTC
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: complaint, coded
-- column: level, advice at the first contact
-- column: vet_level, level of the outcome
-- column: route, how the outcome came to be known
-- column: disposition, what became of the animal
-- column: died, whether the animal died or was put to sleep
-- row: one row per mature episode, the furthest apart first
SELECT call::VARCHAR AS call, started_at, coalesce(site, '') AS site, coalesce(species, '') AS species, coalesce(complaint, '') AS complaint,
  level, vet_level, route, coalesce(disposition, '') AS disposition, coalesce(died, false) AS died
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before AND level > 0 AND vet_level - level >= 2
ORDER BY vet_level - level DESC, died DESC, started_at, call
