-- Puts what was found while files were read, the frame `found`, on the stage.
-- Grain: one row per finding.
-- reads: found
-- writes: cell_findings
insert into cell_findings
select f.table_name, f.file, f.row, f.column_name, f.rule, f.level, f.value
from found as f
