-- name: definition_pairs
-- answers: How do two case definitions judge the same episodes? The first is the one of the store, the second the one
--   that this database was opened with.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: first_emergency, need for an emergency by the first definition: 1 needed, 0 not needed, -1 not verified
-- column: first_same_day, the same for care on the same day
-- column: second_emergency, need for an emergency by the second definition
-- column: second_same_day, the same for care on the same day
-- column: n, mature episodes
-- row: one row per level and needs that occur
SELECT c.level, s.need_emergency AS first_emergency, s.need_same_day AS first_same_day,
  c.need_emergency AS second_emergency, c.need_same_day AS second_same_day, count(*) AS n
FROM cases c JOIN stored_cases s ON s.episode = c.episode
WHERE c.month BETWEEN $from_month AND $to_month AND c.started_at < $mature_before
GROUP BY ALL
ORDER BY ALL
