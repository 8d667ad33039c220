-- name: outcome_links
-- answers: How many outcomes could be linked to an episode, and how?
-- param: from_month month, first month in which the animal was seen, included
-- param: to_month month, last month, included
-- param: doubtful number, a match score below it is doubtful
-- column: practice, that delivered it; empty if not recorded
-- column: source, vet, owner_follow_up or panel
-- column: month, yyyymm in which the animal was seen (UTC)
-- column: n, outcomes
-- column: by_call, linked by the number of the call
-- column: by_animal, linked by the animal, as the one episode before it
-- column: scored, outcomes with a match score
-- column: doubtful, of these, with one below the limit
-- row: one row per practice, source and month
WITH o AS (
  -- Years and months of a time with a zone go through the calendar library.
  -- The first condition skips files and row groups; their months are those of the episodes.
  SELECT *, make_timestamp(epoch_us(seen_at)) AS seen FROM outcomes
  WHERE seen_at >= make_date($from_month // 100, $from_month % 100, 1)::TIMESTAMP::TIMESTAMPTZ
    AND seen_at < (make_date($to_month // 100, $to_month % 100, 1) + INTERVAL 1 MONTH)::TIMESTAMP::TIMESTAMPTZ
)
SELECT coalesce(practice, '') AS practice, source, (year(seen) * 100 + month(seen))::INTEGER AS month, count(*) AS n,
  count(*) FILTER (episode IS NOT NULL AND "call" IS NOT NULL) AS by_call, count(*) FILTER (episode IS NOT NULL AND "call" IS NULL) AS by_animal,
  count(match_score) AS scored, count(*) FILTER (match_score < $doubtful::DOUBLE) AS doubtful
FROM o
WHERE (year(seen) * 100 + month(seen)) BETWEEN $from_month AND $to_month
GROUP BY ALL
ORDER BY ALL
