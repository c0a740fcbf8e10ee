-- How many rows change, and how many are there in all?
-- Grain: one row.
-- reads: changed_rows, files
-- writes: nothing
select
    (select count(*) from changed_rows) as changed_rows,
    (select coalesce(sum(rows_in), 0)::bigint from files) as all_rows
