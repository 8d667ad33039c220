-- name: person_hurt
-- answers: Was a person scratched or bitten during the checks, and how was the animal handled?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: month, yyyymm
-- column: person_hurt, scratched or bitten
-- column: handling, free, held, wrapped, refused; empty if not recorded
-- column: species, of the animal
-- column: n, episodes
-- row: one row per month, kind, handling and species
SELECT month, person_hurt, coalesce(handling, '') AS handling, coalesce(species, '') AS species, count(*) AS n
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND person_hurt IN ('scratched', 'bitten')
GROUP BY ALL
ORDER BY ALL
