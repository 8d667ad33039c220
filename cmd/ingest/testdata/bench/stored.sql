-- The peer of our own files: the stored columns of one table, written by DuckDB
-- into one file. FILES and TARGET are filled in as literals.
COPY (FROM read_parquet(FILES, hive_partitioning = false)) TO TARGET (FORMAT parquet, COMPRESSION zstd);
