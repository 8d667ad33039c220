-- name: rare_misses
-- answers: On which days did the rare and grave misses happen: emergencies first advised less, and deaths after
--   the advice soon or home care? For a chart of the days between them.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: most number, of a kind with more of them none is listed: they are not rare
-- column: kind, emergency or death
-- column: started_at, first contact, UTC
-- row: one row per mature episode and kind that is rare, in the order of time
SELECT kind, started_at
FROM (
  SELECT unnest(list_filter([CASE WHEN need_emergency = 1 AND level < 4 THEN 'emergency' END, CASE WHEN died AND level < 3 THEN 'death' END], lambda x: x IS NOT NULL)) AS kind, started_at
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before AND level BETWEEN 1 AND 3 AND (need_emergency = 1 OR died)
)
QUALIFY count(*) OVER (PARTITION BY kind) <= $most
ORDER BY kind, started_at
