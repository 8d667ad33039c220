-- name: usual_checks
-- answers: Which checks does the line usually ask for, by species and reason for the call?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: species, of the animal
-- column: complaint, coded reason for the call
-- column: episodes, by first clinical contact
-- column: put, for each finding in the order of the dictionary the episodes on which it was put: done, not possible,
--   declined, or left out only because an emergency sign had ended the questions
-- row: one row per species and reason for the call
SELECT coalesce(species, '') AS species, coalesce(complaint, '') AS complaint, count(*) AS episodes,
  [{{range $i, $f := findings}}{{if $i}}, {{end}}sum(({{$f.Column}} <> -1)::INTEGER)::INTEGER{{end}}]::INTEGER[] AS put
FROM cases
WHERE month BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY species, complaint
