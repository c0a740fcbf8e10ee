-- How is each of the grower's own words written, by which containers are compared, in how many rows, and where first?
-- Grain: one row per table, column and spelling.
-- reads: batches, fillings
-- writes: nothing
with words as (
    select
        'batches' as table_name,
        b.file,
        b.row,
        unnest([
        {names of free words of batches}
        ]) as column_name,
        unnest([
        {free words of batches as b}
        ]) as word
    from batches as b
    union all
    select
        'fillings',
        f.file,
        f.row,
        unnest([
        {names of free words of fillings}
        ]),
        unnest([
        {free words of fillings as f}
        ])
    from fillings as f
)
select
    table_name,
    column_name,
    word,
    count(*) as cells,
    arg_min(file, (file, row)) as file,
    arg_min(row, (file, row)) as row
from words
where word is not null
group by table_name, column_name, word
order by table_name, column_name, word
