-- Where do the pickings and observations belong that need a second look? outcome: filling, batch (as a whole:
-- filling_line null), waiting, unknown. rule and detail: what is found in it, null when nothing is.
-- near_line: the batch it has to do with, also while it waits.
-- Grain: one row per staged picking or observation without a filling in `resolved`.
-- reads: batch_faults, batches, filling_days, filling_faults, loaded_fillings, resolved
-- writes: fallback
create or replace temp table fallback as
with rows_left as materialized (
    select line, day, batch, container, faulty, fresh_weight_g, flush from resolved where filling_line is null
),
batch_roots as (
    select batch, arg_min(file, (file, row)) as root_file, arg_min(row, (file, row)) as root_row
    from batch_faults
    where batch is not null
    group by batch
),
filling_roots as (
    select batch, container, arg_min(coalesce(waits_file, file), (file, row)) as root_file,
        arg_min(coalesce(waits_row, row), (file, row)) as root_row
    from filling_faults
    where batch is not null and container is not null
    group by batch, container
),
filled_batches as (
    select batch from loaded_fillings where batch in (select batch from rows_left)
    union
    select batch from filling_faults where batch is not null
),
undated as (
    select container, batch, root_file, root_row from filling_days where day is null
),
dated as (
    select container, day, batch, line, root_file, root_row
    from filling_days
    where day is not null and container in (select container from rows_left)
),
-- Few rows name a container, and only for them the fillings need to be sorted.
holders as (
    select r.line as of_line, d.batch, d.line, d.root_file, d.root_row
    from rows_left as r
    asof join dated as d on d.container = r.container and r.day > d.day
    where r.container is not null
),
joined as (
    select
        r.line,
        r.day,
        r.batch,
        r.container,
        r.faulty,
        r.fresh_weight_g,
        r.flush,
        b.line as batch_line,
        b.inoculated_on as batch_day,
        br.batch is not null as batch_rejected,
        br.root_file as batch_file,
        br.root_row as batch_row,
        fr.root_file as filling_file,
        fr.root_row as filling_row,
        fb.batch is not null as batch_filled,
        d.batch as held_batch,
        held.line as held_batch_line,
        d.line as held_line,
        d.root_file as held_file,
        d.root_row as held_row,
        u.batch as undated_batch,
        waited.line as undated_line,
        u.root_file as undated_file,
        u.root_row as undated_row
    from rows_left as r
    left join batches as b on b.batch = r.batch
    left join batch_roots as br on br.batch = r.batch
    left join filling_roots as fr on fr.batch = r.batch and fr.container = r.container
    left join filled_batches as fb on fb.batch = r.batch
    left join undated as u on u.container = r.container
    left join holders as d on d.of_line = r.line
    left join batches as held on held.batch = d.batch
    left join batches as waited on waited.batch = u.batch
),
judged as (
    select
        *,
        case
            when batch_line is not null and filling_file is not null then 'waits for filling'
            when batch_line is not null then 'batch'
            when batch_rejected then 'waits for batch'
            when filling_file is not null then 'waits for filling'
            when held_line is not null then 'held'
            when held_batch is not null or held_file is not null then 'waits for held'
            when undated_file is not null and day is not null then 'waits for undated'
            else 'unknown'
        end as case_name
    from joined
)
select
    line,
    day,
    faulty,
    fresh_weight_g,
    flush,
    case
        when case_name = 'batch' then 'batch'
        when case_name = 'held' then 'filling'
        when case_name = 'unknown' then 'unknown'
        else 'waiting'
    end as outcome,
    case when case_name = 'batch' then batch_line when case_name = 'held' then held_batch_line end as batch_line,
    case when case_name = 'held' then held_line end as filling_line,
    case
        when case_name in ('batch', 'waits for filling') then batch_line
        when case_name in ('held', 'waits for held') then held_batch_line
        when case_name = 'waits for undated' then undated_line
    end as near_line,
    coalesce(case_name = 'batch' and day < batch_day, false) as early,
    case
        when case_name = 'batch' and container is not null and batch_filled then 'container_not_listed'
        when case_name = 'held' and batch is not null then 'batch_not_listed'
        when case_name = 'held' and undated_file is not null then 'undated_filling'
        when case_name = 'unknown' then 'unknown_place'
        when case_name like 'waits%' then 'waiting'
    end as rule,
    case
        when case_name = 'batch' then batch
        when case_name = 'held' and batch is not null then 'batch ' || held_batch
        when case_name = 'held' then coalesce('batch ' || undated_batch, 'a batch without a name')
        when case_name = 'unknown' then
            case
                when batch is null and container is null then 'both cells are blank'
                when batch is not null and container is null then 'batch ' || batch || ' is not in batches'
                when day is null then 'container ' || container || ' without a day'
                else 'container ' || container || ' was not filled before ' || day
                    || case when batch is not null then ', and batch ' || batch || ' is not in batches' else '' end
            end
        when case_name = 'waits for filling' then filling_file || ', row ' || filling_row
        when case_name = 'waits for batch' then batch_file || ', row ' || batch_row
        when case_name = 'waits for held' then held_file || ', row ' || held_row
        when case_name = 'waits for undated' then undated_file || ', row ' || undated_row
    end as detail,
    case case_name
        when 'waits for filling' then filling_file
        when 'waits for batch' then batch_file
        when 'waits for held' then held_file
        when 'waits for undated' then undated_file
    end as waits_file,
    case case_name
        when 'waits for filling' then filling_row
        when 'waits for batch' then batch_row
        when 'waits for held' then held_row
        when 'waits for undated' then undated_row
    end as waits_row
from judged
