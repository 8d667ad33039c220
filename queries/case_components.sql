-- name: case_components
-- answers: Which parts of the case definition made episodes count as needing care, and which were unknown?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: component, name of the part
-- column: answer, 1 yes, 0 no, -1 unknown (a missing part is unknown, not a no)
-- column: need_same_day, 1 needed, 0 not needed, -1 not verified
-- column: n, mature episodes with any outcome
-- row: one row per component, answer and need
SELECT component, answer, need_same_day, sum(n)::BIGINT AS n
FROM (
  SELECT need_same_day, comp_level_emergency, comp_level_same_day, comp_admitted, comp_surgery, comp_time_critical, comp_death, comp_euthanasia, count(*) AS n
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before AND route > 0
  GROUP BY ALL
) UNPIVOT (answer FOR component IN (comp_level_emergency AS 'level_emergency', comp_level_same_day AS 'level_same_day', comp_admitted AS 'admitted', comp_surgery AS 'surgery', comp_time_critical AS 'time_critical', comp_death AS 'death', comp_euthanasia AS 'euthanasia'))
GROUP BY ALL
ORDER BY component, answer DESC, need_same_day DESC
