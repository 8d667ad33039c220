-- name: finding_heaping
-- answers: How many readings of a numeric finding lie exactly on a threshold? Owners say "two seconds", so a rule
--   that splits there rests on rounding.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: finding finding, id of a numeric finding
-- param: threshold number, in the finding's unit times its scale (tenths of a second: 20)
-- param: scale number, the finding's scale
-- column: species, of the animal
-- column: readings, episodes with a reading
-- column: below, readings below the threshold
-- column: exact, readings exactly on it
-- column: above, readings above it
-- column: whole, readings at a multiple of the scale, that is whole numbers of the unit
-- row: one row per species, most readings first
SELECT coalesce(species, '') AS species, count(*) AS readings, count(*) FILTER ({{finding}} < $threshold) AS below,
  count(*) FILTER ({{finding}} = $threshold) AS exact, count(*) FILTER ({{finding}} > $threshold) AS above,
  count(*) FILTER ({{finding}} % $scale::INTEGER = 0) AS whole
FROM cases
WHERE month BETWEEN $from_month AND $to_month AND {{finding}} >= 0
GROUP BY ALL
ORDER BY readings DESC, species
