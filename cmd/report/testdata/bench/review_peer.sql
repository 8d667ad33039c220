-- What BenchmarkReview is measured against: one scan that sums every column of
-- the records that a monthly review reads, each table once. Cases are read as far
-- back as the trend goes, the rest over the twelve months of the review. The first
-- columns are sums that the review states too; both must agree.
SELECT count(*) FILTER (month BETWEEN {FROM} AND {TO}) AS episodes, sum(bit_count(fired_0)) FILTER (month BETWEEN {FROM} AND {TO}) AS flags_fired,
  count(*) FILTER (month BETWEEN {FROM} AND {TO} AND started_at < '{MATURE}' AND need_same_day = 1) AS needed, count(*) FILTER (month BETWEEN {FROM} AND {TO} AND started_at < '{MATURE}' AND need_same_day = 0) AS not_needed,
  count(*) FILTER (month BETWEEN {FROM} AND {TO} AND person_hurt IN ('scratched', 'bitten')) AS people_hurt,
  bit_xor(hash(episode)), bit_xor(hash("call")), bit_xor(hash(animal)), bit_xor(hash(advisor)), sum(strlen(site)), sum(strlen(practice)),
  sum(strlen(species)), sum(strlen(sex)), sum(strlen(neutered)), sum(strlen(complaint)), sum(epoch_us(started_at)), sum(month), sum(local_hour),
  sum(weekday), sum(strlen(ruleset)), sum(recorded_rule_level), sum(level), sum(later_level), sum(contacts), sum(recontact_24h::INTEGER),
  sum(rule_level), sum(rule_high), sum(fired_0), sum(unknown_0), sum(strlen(person_hurt)), sum(strlen(handling)), sum(safety_net::INTEGER),
  sum(route), sum(outcome_source), sum(outcome_minutes), sum(vet_level), sum(strlen(disposition)), sum(strlen(euthanasia_reason)), sum(independent),
  sum(comp_level_emergency), sum(comp_level_same_day), sum(comp_admitted), sum(comp_surgery), sum(comp_time_critical), sum(comp_death),
  sum(comp_euthanasia), sum(need_emergency), sum(need_same_day), sum(attended), sum(strlen(no_attend_reason)), sum(audit_selected::INTEGER),
  sum(audit_p), sum(audit_responded::INTEGER), sum(conflicts), sum(died::INTEGER), sum(f_gum_colour), sum(f_tongue_colour), sum(f_lower_eyelid),
  sum(f_pupils), sum(f_eye_discharge), sum(f_chest_movement), sum(f_belly_breathing), sum(f_mouth_breathing), sum(f_breathing_effort),
  sum(f_belly_feel), sum(f_under_tail), sum(f_stool), sum(f_anal_glands), sum(f_blink_reflex), sum(f_toe_pinch), sum(f_claw_scuffing), sum(f_lump),
  sum(f_coat_wounds), sum(f_responsiveness), sum(f_retching), sum(f_urination), sum(f_bleeding), sum(f_fits), sum(f_collapse),
  sum(f_suspected_poison), sum(f_road_accident), sum(f_heat_exposure), sum(f_hind_limbs), sum(f_capillary_refill_s), sum(f_breathing_rate),
  sum(f_heart_rate), sum(f_temperature_c), sum(f_onset_h), sum(f_hours_since_eating), sum(f_hours_since_droppings)
FROM cases;

SELECT count(*) AS calls, count(*) FILTER (contact_type = 'clinical') AS clinical_calls,
  bit_xor(hash("call")), bit_xor(hash(contact)), bit_xor(hash(episode)), sum(strlen(contact_type)), sum(strlen(contact_kind)),
  sum(epoch_us(started_at)), sum(epoch_us(ended_at)), bit_xor(hash(animal)), bit_xor(hash(owner)), bit_xor(hash(advisor)), sum(strlen(site)),
  sum(strlen(species)), sum(strlen(breed_group)), sum(strlen(sex)), sum(strlen(neutered)), sum(age_months), sum(weight_kg), sum(strlen(complaint)),
  sum(strlen(level)), sum(strlen(rule_level)), sum(strlen(ruleset)), sum(safety_net::INTEGER), sum(call_seconds), sum(strlen(person_hurt)),
  sum(strlen(formal_complaint)), sum(episode_month)
FROM calls
WHERE episode_month BETWEEN {FROM} AND {TO};

SELECT count(*) FILTER (observer IS DISTINCT FROM 'vet') AS checks,
  bit_xor(hash("call")), sum(strlen(finding)), sum(seq), sum(value_number), sum(strlen(value_code)), sum(strlen(observer)), sum(strlen(setting)),
  sum(strlen(animal_state)), sum(strlen(handling)), sum(strlen(state)), sum(strlen(reason)), sum(epoch_us(asked_at)), sum(episode_month)
FROM checks
WHERE episode_month BETWEEN {FROM} AND {TO};

SELECT count(*) FILTER (episode IS NOT NULL) AS outcomes,
  bit_xor(hash("call")), bit_xor(hash(episode)), sum(strlen(practice)), sum(strlen(source)), sum(epoch_us(seen_at)), sum(epoch_us(recorded_at)),
  sum(strlen(vet_level)), sum(strlen(disposition)), sum(strlen(independent)), sum(match_score), sum(strlen(diagnosis_group)),
  sum(treatment_begun::INTEGER), sum(strlen(euthanasia_reason)), sum(strlen(no_attend_reason)), bit_xor(hash(reviewer)), sum(strlen(foreseeable)),
  sum(strlen(avoidable)), sum(strlen(review_reason)), sum(episode_month)
FROM outcomes
WHERE episode_month BETWEEN {FROM} AND {TO};
