-- Which rows of the fillings table cannot be counted, or wait for their batch? fate: set_aside, or waiting (for
-- waits_file, waits_row). rule: why (null when its cells say so).
-- Grain: one row per staged row of fillings that is not loaded.
-- reads: batch_faults, batches, cells_of_fillings, files, stage_fillings
-- writes: filling_faults
create or replace temp table filling_faults as
with alike as (
    -- Numbers are quicker to group than texts; what shares one is then looked at.
    select hash(batch, container) as key from stage_fillings where not faulty group by key having count(*) > 1
),
suspects as (
    select batch, container
    from stage_fillings
    where not faulty and hash(batch, container) in (select key from alike)
    group by batch, container
    having count(*) > 1
),
copies as (
    select
        s.line,
        s.batch,
        s.container,
        f.file || ', row ' || row_of(s.line) as place,
        row_number() over same as copy,
        first_value(f.file || ', row ' || row_of(s.line)) over same as first_place
    from stage_fillings as s
    inner join suspects as k on k.batch = s.batch and k.container = s.container
    inner join cells_of_fillings as c on c.line = s.line
    inner join files as f on f.file_part = file_part_of(s.line)
    where not s.faulty
    window same as (partition by s.batch, s.container, c.cells order by f.file, row_of(s.line))
),
conflicts as (
    select batch, container, some_of(list(place order by place)) as rows_alike
    from copies
    where copy = 1
    group by batch, container
    having count(*) > 1
),
roots as (
    select batch, arg_min(file, (file, row)) as file, arg_min(row, (file, row)) as row
    from batch_faults
    where batch is not null
    group by batch
),
orphans as (
    select s.line, s.batch
    from stage_fillings as s
    anti join batches as b on b.batch = s.batch
    where not s.faulty
),
ruled as (
    select line, 'cells' as verdict, null::varchar as detail, null::varchar as waits_file, null::integer as waits_row
    from stage_fillings
    where faulty
    union all
    select c.line, case when c.copy > 1 then 'repeated' else 'conflicting' end,
        case when c.copy > 1 then c.first_place else k.rows_alike end, null, null
    from copies as c
    left join conflicts as k on k.batch = c.batch and k.container = c.container
    where c.copy > 1 or k.batch is not null
    union all
    select o.line, case when r.file is null then 'unknown_batch' else 'waiting' end, r.file || ', row ' || r.row, r.file, r.row
    from orphans as o
    left join roots as r on r.batch = o.batch
),
first_ruled as (
    -- A row's own fault comes before its batch's.
    select * from ruled
    qualify row_number() over (
        partition by line order by case verdict when 'repeated' then 0 when 'conflicting' then 1 else 2 end
    ) = 1
)
select
    r.line,
    f.file,
    row_of(r.line) as row,
    s.batch,
    s.container,
    case when r.verdict = 'waiting' then 'waiting' else 'set_aside' end as fate,
    case when r.verdict <> 'cells' then r.verdict end as rule,
    r.detail,
    r.waits_file,
    r.waits_row
from first_ruled as r
inner join stage_fillings as s on s.line = r.line
inner join files as f on f.file_part = file_part_of(r.line)
