-- What did each group of units give, and how much of it is known yet? Masses in g, ratios in %. Sums over sums
-- throughout; be_finished_batch_mean is the one mean of ratios, and is named so. Mass per container is null where
-- containers are unlike.
-- Grain: one row per group.
-- reads: batches, unit_groups, unit_pickings, unit_rejected, unit_sizes, unit_states
-- writes: nothing
with found as (
    select
        g.group_id,
        s.*,
        z.containers,
        z.size,
        z.litres,
        s.known_through >= getvariable('through') as known,
        s.known_through >= 1 as known_first,
        s.dry_g is not null as weighed,
        s.finished and s.dry_g is not null and s.first_picked is not null and s.inoculated_on is not null as paced,
        b.spawn_form is null or b.spawn_form not in ('liquid', 'plug') as has_rate
    from unit_groups as g
    inner join unit_states as s on s.unit = g.unit
    inner join batches as b on b.line = s.batch_line
    inner join unit_sizes as z on z.unit = s.unit
),
sums as (
    select
        group_id,
        count(distinct batch) as batches,
        count(*) as units,
        count(*) filter (where known) as units_known,
        count(*) filter (where not known) as units_not_yet,
        count(*) filter (where known and not finished) as units_open,
        count(*) filter (where lapsed) as units_lapsed,
        count(*) filter (where known and not weighed) as units_without_dry_mass,
        sum(fresh_g) as fresh_g,
        sum(fresh_g_pooled) as fresh_g_pooled,
        sum(fresh_g_flush1) filter (where known_first and weighed) as first_fresh,
        sum(dry_g) filter (where known_first and weighed) as first_dry,
        sum(fresh_g) filter (where finished and weighed) as finished_fresh,
        sum(dry_g) filter (where finished and weighed) as finished_dry,
        sum(fresh_g) filter (where finished and weighed and not contaminated_before_pick) as clean_fresh,
        sum(dry_g) filter (where finished and weighed and not contaminated_before_pick) as clean_dry,
        sum(fresh_g) filter (where finished and wet_g is not null) as wet_fresh,
        sum(wet_g) filter (where finished and wet_g is not null) as wet_wet,
        sum(fresh_g) filter (where finished and containers is not null) as contained_fresh,
        sum(containers) filter (where finished) as contained_in,
        coalesce(
            count(distinct size) filter (where finished and containers is not null) = 1
            and bool_and(size is not null) filter (where finished and containers is not null),
            false
        ) as alike,
        sum(fresh_g) filter (where finished and litres is not null) as litres_fresh,
        sum(litres) filter (where finished) as litres,
        sum(fresh_g_through) filter (where known and weighed) as through_fresh,
        sum(dry_g) filter (where known and weighed) as through_dry,
        sum(fresh_g_through) filter (where known and weighed and not contaminated_before_pick) as through_clean_fresh,
        sum(dry_g) filter (where known and weighed and not contaminated_before_pick) as through_clean_dry,
        sum(fresh_g) filter (where paced and last_picked > inoculated_on) as last_pick_fresh,
        sum(dry_g::decimal(28, 9) * (last_picked - inoculated_on)) filter (where paced and last_picked > inoculated_on) as last_pick_dry_days,
        sum(fresh_g) filter (where paced and first_picked > inoculated_on) as first_pick_fresh,
        sum(dry_g::decimal(28, 9) * (first_picked - inoculated_on)) filter (where paced and first_picked > inoculated_on)
            as first_pick_dry_days,
        sum(spawn_g) filter (where has_rate and wet_g is not null and spawn_g is not null) as spawn_over_wet,
        sum(wet_g) filter (where has_rate and spawn_g is not null) as wet_under_spawn,
        sum(spawn_g) filter (where has_rate and dry_g is not null and spawn_g is not null) as spawn_over_dry,
        sum(dry_g) filter (where has_rate and spawn_g is not null) as dry_under_spawn
    from found
    group by group_id
),
picked_sums as (
    select
        g.group_id,
        sum(p.fresh_weight_g) as fresh_g,
        sum(p.fresh_weight_g) filter (where p.stage_rank is not null) as staged_g,
        sum(p.fresh_weight_g) filter (where p.stage_rank >= getvariable('late_rank')) as late_g,
        sum(p.fresh_weight_g) filter (where p.stage_rank = list_position(getvariable('cap_stages'), 'flat')) as flat_g,
        sum(p.culled_g) as culled_g,
        100 * count(*) filter (where p.derived)::double / count(*) as derived_pct
    from unit_groups as g
    inner join unit_pickings as p on p.unit = g.unit
    group by g.group_id
),
batch_ratios as (
    select group_id, batch, sum(fresh_g)::double / nullif(sum(dry_g), 0)::double as ratio
    from found
    where finished and weighed
    group by group_id, batch
),
batch_means as (
    select group_id, avg(ratio order by batch) as mean_ratio from batch_ratios group by group_id
),
batch_spawn as (
    -- Where no unit has its share of both, the batches' own masses tell the rate.
    select
        t.group_id,
        sum(b.spawn_kg) filter (where b.substrate_wet_kg is not null) as spawn_over_wet,
        sum(b.substrate_wet_kg) filter (where b.spawn_kg is not null) as wet,
        sum(b.spawn_kg * 1000) filter (where b.dry_g is not null) as spawn_over_dry,
        sum(b.dry_g) filter (where b.spawn_kg is not null) as dry
    from (select distinct group_id, batch_line from found where has_rate) as t
    inner join batches as b on b.line = t.batch_line
    group by t.group_id
),
rejected as (
    select group_id, count(*) as pickings
    from (
        select distinct g.group_id, a.line
        from unit_rejected as a
        inner join unit_groups as g on g.unit = a.unit
    )
    group by group_id
)
select
    s.group_id,
    s.batches,
    s.units,
    s.units_known,
    s.units_not_yet,
    s.units_open,
    s.units_lapsed,
    s.units_without_dry_mass,
    s.fresh_g::double as fresh_g,
    s.fresh_g_pooled::double as fresh_g_pooled,
    coalesce(a.pickings, 0) as pickings_set_aside,
    p.derived_pct,
    100 * s.first_fresh::double / nullif(s.first_dry::double, 0) as be_flush1_pct,
    100 * s.finished_fresh::double / nullif(s.finished_dry::double, 0) as be_finished_pct,
    100 * s.clean_fresh::double / nullif(s.clean_dry::double, 0) as be_finished_clean_pct,
    100 * m.mean_ratio as be_finished_batch_mean,
    100 * s.wet_fresh::double / nullif(s.wet_wet::double, 0) as yield_wet_pct,
    case when s.alike then s.contained_fresh::double / nullif(s.contained_in::double, 0) end as fresh_g_per_container,
    s.litres_fresh::double / nullif(s.litres::double, 0) as fresh_g_per_litre,
    100 * coalesce(
        s.spawn_over_wet::double / nullif(s.wet_under_spawn::double, 0),
        w.spawn_over_wet::double / nullif(w.wet::double, 0)
    ) as spawn_rate_wet_pct,
    100 * coalesce(
        s.spawn_over_dry::double / nullif(s.dry_under_spawn::double, 0),
        w.spawn_over_dry::double / nullif(w.dry::double, 0)
    ) as spawn_rate_dry_pct,
    100 * s.last_pick_fresh::double / nullif(s.last_pick_dry_days::double, 0) as be_per_day_to_last_pick,
    100 * s.first_pick_fresh::double / nullif(s.first_pick_dry_days::double, 0) as be_per_day_to_first_pick,
    100 * coalesce(p.late_g, 0)::double / nullif(p.staged_g::double, 0) as picked_late_pct,
    100 * coalesce(p.flat_g, 0)::double / nullif(p.staged_g::double, 0) as flat_pct,
    100 * (p.fresh_g - coalesce(p.staged_g, 0))::double / nullif(p.fresh_g::double, 0) as no_stage_pct,
    100 * coalesce(p.culled_g, 0)::double / nullif(p.fresh_g::double, 0) as culled_pct,
    100 * s.through_fresh::double / nullif(s.through_dry::double, 0) as be_pct,
    100 * s.through_clean_fresh::double / nullif(s.through_clean_dry::double, 0) as be_clean_pct,
    coalesce(s.through_fresh, 0)::double as fresh_g_in_be,
    coalesce(s.through_dry, 0)::double as substrate_dry_g
from sums as s
left join picked_sums as p on p.group_id = s.group_id
left join batch_means as m on m.group_id = s.group_id
left join batch_spawn as w on w.group_id = s.group_id
left join rejected as a on a.group_id = s.group_id
order by s.group_id
