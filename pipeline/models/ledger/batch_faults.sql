-- Which rows of the batches table cannot be counted? rule: why (null when its cells say so).
-- Grain: one row per staged row of batches that is set aside.
-- reads: cells_of_batches, rows_of_batches
-- writes: batch_faults
create or replace temp table batch_faults as
with suspects as (
    select batch from rows_of_batches where not faulty group by batch having count(*) > 1
),
copies as (
    select
        s.line,
        s.batch,
        s.file || ', row ' || s.row as place,
        row_number() over same as copy,
        first_value(s.file || ', row ' || s.row) over same as first_place
    from rows_of_batches as s
    inner join cells_of_batches as c on c.line = s.line
    where not s.faulty and s.batch in (select batch from suspects)
    window same as (partition by s.batch, c.cells order by s.file, s.row)
),
conflicts as (
    select batch, some_of(list(place order by place)) as rows_alike
    from copies
    where copy = 1
    group by batch
    having count(*) > 1
)
select line, file, row, batch, null::varchar as rule, null::varchar as detail
from rows_of_batches
where faulty
union all
select s.line, s.file, s.row, s.batch, case when c.copy > 1 then 'repeated' else 'conflicting' end,
    case when c.copy > 1 then c.first_place else k.rows_alike end
from copies as c
inner join rows_of_batches as s on s.line = c.line
left join conflicts as k on k.batch = c.batch
where c.copy > 1 or k.batch is not null
