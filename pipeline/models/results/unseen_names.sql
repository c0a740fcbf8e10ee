-- Which names of batches, recipes and containers hold a letter that nobody sees (Unicode's general category Cf)?
-- Grain: one row per such cell.
-- reads: rows_of_batches, rows_of_fillings
-- writes: nothing
with names as (
    select 'batches' as table_name, file, row,
        unnest(['batch', 'strain', 'substrate', 'soak']) as column_name, unnest([batch, strain, substrate, soak]) as name
    from rows_of_batches
    union all
    select 'fillings', file, row, unnest(['batch', 'container']), unnest([batch, container])
    from rows_of_fillings
)
select table_name, file, row, column_name, name
from names
where regexp_matches(name, '\p{Cf}')
order by all
