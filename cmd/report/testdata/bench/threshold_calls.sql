-- The calls of BenchmarkThreshold: verified ones with two readings, each following from
-- the number of the call. Breaths a minute are whole numbers around 26, 14 higher for the
-- seventh in need; hours since it began are tenths up to 720, the widest scale of the
-- dictionary. CALLS and PATH are filled in.
COPY (
  SELECT i % 3 + 1 AS level, 1 AS route, TIMESTAMP '2025-05-01' + to_seconds(i % 40000000) AS started_at, 202505 + i % 8 AS month,
    need::TINYINT AS need_same_day, need::TINYINT AS need_emergency,
    greatest(2, 26 + 14 * need + 8 * normal)::SMALLINT AS f_breathing_rate,
    least(7200, 10 * exp(3 - need + normal))::SMALLINT AS f_onset_h
  FROM (
    SELECT i, (hash(i, 'need') % 7 = 0)::INTEGER AS need,
      sqrt(-2 * ln((1 + hash(i, 'a') % 1000003) / 1000004.0)) * cos(2 * pi() * (hash(i, 'b') % 1000003) / 1000003.0) AS normal
    FROM range({CALLS}) t(i)
  )
) TO {PATH} (FORMAT parquet, COMPRESSION zstd);
-- and
COPY (SELECT f_breathing_rate AS value, need_same_day AS need FROM cases) TO {PATH} (FORMAT csv, HEADER);
