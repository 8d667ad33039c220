-- name: advisor_changes
-- answers: Which reasons did each advisor give for departing from the rules?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: advisor, pseudonym of the advisor
-- column: direction, above or below the rules' level
-- column: reason, coded; empty if none was given
-- column: n, records of clinical contacts
-- row: one row per advisor, direction and reason
WITH one AS (
  SELECT advisor, coalesce(override_reason, '') AS reason,
    CASE level WHEN 'emergency' THEN 4 WHEN 'same_day' THEN 3 WHEN 'soon' THEN 2 WHEN 'home_care' THEN 1 END AS given,
    CASE rule_level WHEN 'emergency' THEN 4 WHEN 'same_day' THEN 3 WHEN 'soon' THEN 2 WHEN 'home_care' THEN 1 END AS demanded
  FROM calls
  WHERE episode_month BETWEEN $from_month AND $to_month AND contact_type = 'clinical' AND advisor IS NOT NULL
)
SELECT advisor::VARCHAR AS advisor, CASE WHEN given > demanded THEN 'above' ELSE 'below' END AS direction, reason, count(*) AS n
FROM one
WHERE given <> demanded
GROUP BY ALL
ORDER BY advisor, direction, n DESC, reason
