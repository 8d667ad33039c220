-- A second peer of BenchmarkFlagTables: the counts behind the two-by-two tables the
-- plain way, one FILTER for each flag and answer, over the same Parquet files with the
-- same threads. FILTERS is filled in with a pair of counts a flag.
SELECT month, coalesce(species, '') AS species, need_same_day AS need, count(*) AS n, {FILTERS}
FROM cases
GROUP BY ALL
ORDER BY month, species, need DESC;
