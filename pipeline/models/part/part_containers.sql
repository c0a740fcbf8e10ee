-- The containers of which a refresh must know all fillings, to decide for the part.
-- Grain: one row per container.
-- reads: changed_rows, named_together, part_batches
-- writes: part_containers
create or replace temp table part_containers as
select container from changed_rows where container is not null
union
select container from named_together where batch in (select batch from part_batches)
