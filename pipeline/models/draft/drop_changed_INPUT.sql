-- Takes the rows of files of INPUT off the stage that do not stand in these files any more, or say something else.
-- Grain: one row per such row.
-- reads: arriving_INPUT
-- writes: stage_INPUT
delete from stage_INPUT as s
where file_part_of(s.line) in (select unnest($file_parts))
    and not exists (
        select a.line
        from arriving_INPUT as a
        where a.line = s.line
            and a.content = hash(
            {stage columns of INPUT as s}
            )
    )
