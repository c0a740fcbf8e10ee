-- Which containers do rows name together with which batch?
-- Grain: one row per row that names both.
-- reads: stage_fillings, stage_harvests, stage_observations
-- writes: named_together
create or replace temp view named_together as
select batch, container from stage_fillings where batch is not null and container is not null
union all
select batch, container from stage_harvests where batch is not null and container is not null
union all
select batch, container from stage_observations where batch is not null and container is not null
