-- name: advisor_advice
-- answers: How did each advisor's advice stand to the rules, what changed it, was the owner told when to ring again, was
--   anybody hurt?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: advisor, pseudonym of the advisor
-- column: contacts, records of clinical contacts
-- column: with_both, with advice and a rule level on record
-- column: above, advised above the rules' level
-- column: below, advised below the rules' level
-- column: safety_net, owner told when to ring again
-- column: safety_net_known, records on which that is recorded
-- column: scratched, a person was scratched
-- column: bitten, a person was bitten
-- column: hurt_known, records on which it is recorded whether a person was hurt
-- column: seconds, median length of a call in seconds, null if not recorded
-- row: one row per advisor
WITH one AS (
  SELECT advisor, safety_net, person_hurt, call_seconds,
    CASE level WHEN 'emergency' THEN 4 WHEN 'same_day' THEN 3 WHEN 'soon' THEN 2 WHEN 'home_care' THEN 1 END AS given,
    CASE rule_level WHEN 'emergency' THEN 4 WHEN 'same_day' THEN 3 WHEN 'soon' THEN 2 WHEN 'home_care' THEN 1 END AS demanded
  FROM calls
  WHERE episode_month BETWEEN $from_month AND $to_month AND contact_type = 'clinical' AND advisor IS NOT NULL
)
SELECT advisor::VARCHAR AS advisor, count(*) AS contacts, count(*) FILTER (given IS NOT NULL AND demanded IS NOT NULL) AS with_both,
  count(*) FILTER (given > demanded) AS above, count(*) FILTER (given < demanded) AS below,
  count(*) FILTER (safety_net) AS safety_net, count(safety_net) AS safety_net_known,
  count(*) FILTER (person_hurt = 'scratched') AS scratched, count(*) FILTER (person_hurt = 'bitten') AS bitten, count(person_hurt) AS hurt_known,
  median(call_seconds)::DOUBLE AS seconds
FROM one
GROUP BY advisor
ORDER BY advisor
