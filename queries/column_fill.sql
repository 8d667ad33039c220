-- name: column_fill
-- answers: How completely is each column filled, month by month? A column that some rows cannot have is counted among
--   those that can.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: record, calls, checks or outcomes
-- column: column, name of the column, with what it is counted among
-- column: month, yyyymm of the episode's first contact
-- column: filled, rows with a value
-- column: n, rows that could have one
-- row: one row per column and month with rows
WITH a AS (
  SELECT episode_month AS month, count(*) AS n, count(animal) AS animal, count(owner) AS owner, count(advisor) AS advisor, count(site) AS site,
    count(breed_group) AS breed_group, count(sex) AS sex, count(neutered) AS neutered, count(age_months) AS age_months, count(weight_kg) AS weight_kg,
    count(complaint) AS complaint, count(level) AS level, count(rule_level) AS rule_level, count(ruleset) AS ruleset, count(safety_net) AS safety_net,
    count(ended_at) AS ended_at, count(call_seconds) AS call_seconds, count(person_hurt) AS person_hurt
  FROM calls WHERE contact_type = 'clinical' AND episode_month BETWEEN $from_month AND $to_month GROUP BY ALL
), {{with filled}}k(month, done, not_done, asked, reading, observer, setting, animal_state, handling, reason, asked_at) AS (
  {{.}}
{{else}}checked AS (
  -- Checks alike in what is filled: a few hundred rows instead of millions for the
  -- many counts below.
  SELECT episode_month, state, value_code IS NOT NULL OR value_number IS NOT NULL AS reading, observer IS NOT NULL AS observer, setting IS NOT NULL AS setting,
    animal_state IS NOT NULL AS animal_state, handling IS NOT NULL AS handling, reason IS NOT NULL AS reason, asked_at IS NOT NULL AS asked_at, count(*) AS n
  FROM checks WHERE episode_month BETWEEN $from_month AND $to_month GROUP BY ALL
), k AS (
  SELECT episode_month AS month, coalesce(sum(n) FILTER (state = 'done'), 0)::BIGINT AS done, coalesce(sum(n) FILTER (state <> 'done'), 0)::BIGINT AS not_done, coalesce(sum(n) FILTER (state <> 'not_asked'), 0)::BIGINT AS asked,
    coalesce(sum(n) FILTER (state = 'done' AND reading), 0)::BIGINT AS reading, coalesce(sum(n) FILTER (state = 'done' AND observer), 0)::BIGINT AS observer, coalesce(sum(n) FILTER (state = 'done' AND setting), 0)::BIGINT AS setting,
    coalesce(sum(n) FILTER (state = 'done' AND animal_state), 0)::BIGINT AS animal_state, coalesce(sum(n) FILTER (state = 'done' AND handling), 0)::BIGINT AS handling,
    coalesce(sum(n) FILTER (state <> 'done' AND reason), 0)::BIGINT AS reason, coalesce(sum(n) FILTER (state <> 'not_asked' AND asked_at), 0)::BIGINT AS asked_at
  FROM checked GROUP BY ALL
{{end}}), o AS (
  SELECT episode_month AS month, count(*) AS n, count(*) FILTER (source = 'vet') AS vet, count(*) FILTER (disposition = 'euthanised') AS put_to_sleep,
    count(*) FILTER (disposition = 'did_not_attend') AS stayed_away,
    count("call") AS "call", count(recorded_at) AS recorded_at, count(vet_level) AS vet_level, count(disposition) AS disposition, count(independent) AS independent,
    count(match_score) AS match_score, count(practice) FILTER (source = 'vet') AS practice, count(diagnosis_group) FILTER (source = 'vet') AS diagnosis_group,
    count(treatment_begun) FILTER (source = 'vet') AS treatment_begun, count(euthanasia_reason) FILTER (disposition = 'euthanised') AS euthanasia_reason,
    count(no_attend_reason) FILTER (disposition = 'did_not_attend') AS no_attend_reason
  FROM outcomes WHERE episode_month BETWEEN $from_month AND $to_month GROUP BY ALL
), filled AS (
  FROM a UNPIVOT (filled FOR "column" IN (animal, owner, advisor, site, breed_group, sex, neutered, age_months, weight_kg, complaint, level, rule_level, ruleset, safety_net,
    ended_at, call_seconds, person_hurt)) SELECT 'calls' AS record, "column", month, filled, n
  UNION ALL
  FROM k UNPIVOT (filled FOR "column" IN (reading, observer, setting, animal_state, handling, reason, asked_at))
  SELECT 'checks', CASE "column" WHEN 'reason' THEN 'reason, of those not done' WHEN 'asked_at' THEN 'asked_at, of those asked' ELSE "column" || ', of those done' END, month, filled,
    CASE "column" WHEN 'reason' THEN not_done WHEN 'asked_at' THEN asked ELSE done END
  UNION ALL
  FROM o UNPIVOT (filled FOR "column" IN ("call", recorded_at, vet_level, disposition, independent, match_score, practice, diagnosis_group, treatment_begun, euthanasia_reason, no_attend_reason))
  SELECT 'outcomes', CASE WHEN "column" IN ('practice', 'diagnosis_group', 'treatment_begun') THEN "column" || ', of those by a vet'
      WHEN "column" = 'euthanasia_reason' THEN "column" || ', of those put to sleep' WHEN "column" = 'no_attend_reason' THEN "column" || ', of those that did not go' ELSE "column" END,
    month, filled, CASE WHEN "column" IN ('practice', 'diagnosis_group', 'treatment_begun') THEN vet WHEN "column" = 'euthanasia_reason' THEN put_to_sleep
      WHEN "column" = 'no_attend_reason' THEN stayed_away ELSE n END
)
SELECT record, "column", month, filled, n
FROM filled
WHERE n > 0
ORDER BY ALL
