-- name: finding_states
-- answers: How often was each finding assessed, and why not, by what was advised?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, position in the dictionary, from 0
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: n, episodes
-- column: assessed, episodes with a reading
-- column: not_asked, not asked, or no record of the check
-- column: not_possible, tried, could not be done
-- column: declined, declined or unsafe
-- column: stopped_early, not asked because an emergency sign had ended the questions
-- row: one row per finding and level
WITH by_level AS (
  SELECT level, count(*) AS n,
    [{{range $i, $f := findings}}{{if $i}}, {{end}}sum(({{$f.Column}} = -1)::INTEGER)::BIGINT{{end}}]::BIGINT[] AS not_asked,
    [{{range $i, $f := findings}}{{if $i}}, {{end}}sum(({{$f.Column}} = -2)::INTEGER)::BIGINT{{end}}]::BIGINT[] AS not_possible,
    [{{range $i, $f := findings}}{{if $i}}, {{end}}sum(({{$f.Column}} = -3)::INTEGER)::BIGINT{{end}}]::BIGINT[] AS declined,
    [{{range $i, $f := findings}}{{if $i}}, {{end}}sum(({{$f.Column}} = -4)::INTEGER)::BIGINT{{end}}]::BIGINT[] AS stopped_early
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
SELECT finding, level, n, n - not_asked - not_possible - declined - stopped_early AS assessed,
  not_asked, not_possible, declined, stopped_early
FROM (
  SELECT unnest(range({{len findings}}))::INTEGER AS finding, level, n, unnest(not_asked) AS not_asked,
    unnest(not_possible) AS not_possible, unnest(declined) AS declined, unnest(stopped_early) AS stopped_early
  FROM by_level
)
ORDER BY finding, level
