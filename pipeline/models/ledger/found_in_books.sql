-- What was found in whole rows of prices, sales and promises, with the level that the contract gives.
-- Grain: one row per finding.
-- reads: files, promises, rejected_books, row_rules, rows_of_prices, sales, warn_promises, warn_sales
-- writes: found_in_books
create or replace table found_in_books as
with entries as (
    select 'sales' as table_name, line, entry, file || ', row ' || row as place from sales where entry is not null
    union all
    select 'promises', line, entry, file || ', row ' || row from promises where entry is not null
),
twice as (
    select table_name, entry, some_of(list(place order by place)) as places
    from entries
    group by table_name, entry
    having count(*) > 1
),
found as (
    select r.table_name, r.line, r.rule,
        case r.rule when 'conflicting' then p.price::double::varchar when 'repeated' then null else p.per end as value,
        r.detail
    from rejected_books as r
    left join rows_of_prices as p on p.line = r.line
    union all
    select e.table_name, e.line, 'entry_twice', e.entry, t.places
    from entries as e
    inner join twice as t on t.table_name = e.table_name and t.entry = e.entry
    union all
    select 'sales', line, rule, value, detail from warn_sales
    union all
    select 'promises', line, rule, value, detail from warn_promises
)
select f.table_name, p.file, row_of(f.line) as row, r.column_name, f.rule, r.level, f.value, f.detail
from found as f
inner join row_rules as r on r.table_name = f.table_name and r.rule = f.rule
inner join files as p on p.file_part = file_part_of(f.line)
