-- Takes what was found in the cells of a file off the stage.
-- Grain: one row per finding.
-- reads: nothing
-- writes: cell_findings
delete from cell_findings
where table_name = $table_name and file = $file
