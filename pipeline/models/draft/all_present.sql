-- Notes of all files that they are there to be read: those that are not are noted anew.
-- Grain: one row per file that was not.
-- reads: nothing
-- writes: files
update files
set status = 'present', problem = ''
where status <> 'present'
