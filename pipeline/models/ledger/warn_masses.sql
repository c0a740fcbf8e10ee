-- Which batches and fillings have masses that do not fit together?
-- Grain: one row per rule that a loaded batch or filling breaks.
-- reads: batches, files, filling_shares, loaded_fillings, picked_flushes
-- writes: warn_masses
create or replace temp table warn_masses as
with picked as (
    select coalesce(filling_line, batch_line) as place_line, sum(fresh_g)::double as fresh_g
    from picked_flushes
    group by batch_line, filling_line
),
batch_picked as (
    select batch_line, sum(fresh_g)::double as fresh_g from picked_flushes group by batch_line
),
packed as (
    select
        l.batch_line,
        count(*) as fillings,
        count(l.fill_kg) as weighed,
        sum(l.fill_kg)::double as fill_kg,
        count(*) filter (where s.dry_g is null) as without_dry,
        coalesce(sum(s.dry_g), 0)::double as dry_g
    from loaded_fillings as l
    inner join filling_shares as s on s.line = l.line
    group by l.batch_line
),
mixes as (
    select
        b.file,
        b.row,
        b.batch,
        b.spawn_kg,
        b.substrate_wet_kg,
        b.dry_g::double as dry_g,
        (b.substrate_wet_kg + coalesce(b.spawn_kg, 0))::double as mix_kg,
        p.fillings,
        p.weighed,
        p.fill_kg,
        p.without_dry,
        p.dry_g as packed_dry_g,
        bp.fresh_g
    from batches as b
    left join packed as p on p.batch_line = b.line
    left join batch_picked as bp on bp.batch_line = b.line
),
densest as (
    -- Straw-like by its name; other substrates pack denser.
    select
        line,
        case when regexp_matches(lower(coalesce(substrate, '')), 'straw|hay|bagasse|stalk|stover|mulch|leaf|leaves')
            then 0.2 else 0.45 end as kg_per_l
    from batches
),
held as (
    select
        l.line,
        l.container,
        l.volume_l,
        s.dry_g::double as dry_g,
        coalesce(l.fill_kg::double * 1000, (s.wet_g + coalesce(s.spawn_g, 0))::double) as mix_g,
        p.fresh_g,
        d.kg_per_l as densest_kg_per_l
    from loaded_fillings as l
    inner join filling_shares as s on s.line = l.line
    inner join densest as d on d.line = l.batch_line
    left join picked as p on p.place_line = l.line
),
crowded as (
    -- The next filling of the container is of the same day.
    select distinct l.container, l.inoculated_on
    from loaded_fillings as l
    inner join filling_shares as s on s.line = l.line
    where s.refilled_on = s.inoculated_on
),
same_day as (
    select l.line, l.container,
        string_agg(l.batch || ' (' || f.file || ', row ' || row_of(l.line) || ')', ', ') over same as batches
    from loaded_fillings as l
    inner join crowded as c on c.container = l.container and c.inoculated_on = l.inoculated_on
    inner join files as f on f.file_part = file_part_of(l.line)
    window same as (partition by l.container, l.inoculated_on order by l.batch
        rows between unbounded preceding and unbounded following)
),
odd_fillings as (
    select line, 'fresh_above_mix' as rule, container as value,
        printf('%.2f kg picked, %.2f kg mix', fresh_g / 1000, mix_g / 1000) as detail
    from held
    where fresh_g > mix_g
    union all
    select line, 'be_above_200_pct', container, printf('%.0f', fresh_g / dry_g * 100)
    from held
    where dry_g > 0 and fresh_g > 2 * dry_g
    union all
    select line, 'packed_dense', volume_l::varchar, printf('%.2f', dry_g / 1000 / volume_l)
    from held
    where dry_g / 1000 / volume_l > densest_kg_per_l
    union all
    select line, 'same_day_twice', container, batches
    from same_day
)
select 'batches' as table_name, file, row, 'spawn_above_40_pct' as rule, spawn_kg::double::varchar as value,
    printf('%.0f', (spawn_kg / substrate_wet_kg * 100)::double) as detail, null::varchar as waits_file,
    null::integer as waits_row
from mixes
where spawn_kg * 100 > substrate_wet_kg * getvariable('most_spawn_pct')
union all
select 'batches', file, row, 'fillings_above_mix', substrate_wet_kg::double::varchar,
    printf('mix %.2f kg, fillings %.2f kg', mix_kg, fill_kg), null, null
from mixes
where fill_kg > mix_kg * 1.000001
union all
select 'batches', file, row, 'fillings_differ_from_mix', substrate_wet_kg::double::varchar,
    printf('mix %.2f kg, fillings %.2f kg', mix_kg, fill_kg), null, null
from mixes
where weighed = fillings and fill_kg < mix_kg * 0.85
union all
select 'batches', file, row, 'nothing_left_to_share', batch,
    printf('%.2f kg dry, %.2f kg in its other fillings', dry_g / 1000, packed_dry_g / 1000), null, null
from mixes
where without_dry > 0 and dry_g <= packed_dry_g
union all
select 'batches', file, row, 'fresh_above_mix', batch,
    printf('%.2f kg picked, %.2f kg mix', fresh_g / 1000, mix_kg), null, null
from mixes
where fresh_g > mix_kg * 1000
union all
select 'batches', file, row, 'be_above_200_pct', batch, printf('%.0f', fresh_g / dry_g * 100), null, null
from mixes
where dry_g > 0 and fresh_g > 2 * dry_g
union all
select 'fillings', f.file, row_of(o.line), o.rule, o.value, o.detail, null, null
from odd_fillings as o
inner join files as f on f.file_part = file_part_of(o.line)
