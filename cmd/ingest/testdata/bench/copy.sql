-- The peer of BenchmarkLoad: what DuckDB alone needs to copy the same exports
-- from CSV to Parquet, run once for the calls and once for the checks, with
-- the threads and the memory limit of the load. EXPORTS and TARGET are filled
-- in as literals; rows with too few columns, of which the demonstration line
-- has some, are skipped, since the copy would else stop at the first.
COPY (FROM read_csv(EXPORTS, ignore_errors = true)) TO TARGET (FORMAT parquet, COMPRESSION zstd);
