-- The containers of which a refresh must know all fillings, to decide for the part.
-- Grain: one row per container.
-- reads: changed_rows, part_batches, stage_fillings, stage_harvests, stage_observations
-- writes: part_containers
create or replace temp table part_containers as
select container from changed_rows where container is not null
union
select container from stage_fillings where batch in (select batch from part_batches) and container is not null
union
select container from stage_harvests where batch in (select batch from part_batches) and container is not null
union
select container from stage_observations where batch in (select batch from part_batches) and container is not null
