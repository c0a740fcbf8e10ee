-- How many days usually lie between two looks? A look is a day with an observation or a picking, up to the as-of date.
-- Grain: one row. gap: the median gap between one such day and the next; null for fewer than two of them.
-- reads: harvest_assignments, observation_assignments
-- writes: nothing
with looks as (
    select seen_on as looked_on from observation_assignments where seen_on <= getvariable('as_of')
    union
    select picked_on from harvest_assignments where picked_on <= getvariable('as_of')
),
gaps as (
    select looked_on - lag(looked_on) over (order by looked_on) as gap from looks
)
select median(gap) as gap from gaps where gap is not null
