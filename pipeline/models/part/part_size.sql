-- How many rows change, and how many are there in all? Of the books alone: how many change, and how many sales are there?
-- Grain: one row.
-- reads: changed_rows, files
-- writes: nothing
select
    (select count(*) from changed_rows) as changed_rows,
    (select coalesce(sum(rows_in), 0)::bigint from files) as all_rows,
    (select count(*) from changed_rows where table_name in ('prices', 'sales', 'promises')) as changed_in_books,
    (select coalesce(sum(rows_in), 0)::bigint from files where table_name = 'sales') as sales
