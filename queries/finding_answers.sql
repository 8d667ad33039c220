-- name: finding_answers
-- answers: How often was each finding answered at all, by species? A rule on a question that is hardly ever asked
--   decides nothing.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, position in the dictionary, from 0
-- column: species, of the animal; empty if not recorded
-- column: episodes, all of that species
-- column: answered, those with a reading
-- row: one row per finding and species
SELECT unnest(range({{nFindings}}))::INTEGER AS finding, species, n AS episodes, unnest(answered) AS answered
FROM (
  SELECT coalesce(species, '') AS species, count(*) AS n,
    [{{range $i, $f := findings}}{{if $i}}, {{end}}count(*) FILTER ({{$f.Column}} >= 0){{end}}]::BIGINT[] AS answered
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
ORDER BY finding, species
