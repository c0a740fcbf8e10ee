-- What does each batch say in those of the columns by which units are grouped (group_by) that are a batch's? A column of
-- keys and one of texts for each: see unit_labels.
-- Grain: one row per batch.
-- reads: batches, stage_batches
-- writes: batch_labels
create or replace temp view batch_labels as
select
    b.line as batch_line{batch cells of group_by}
from batches as b
inner join stage_batches as sb on sb.line = b.line
