-- one value: the appliance within a job, by its serial number, else by its kind
create or replace temp macro unit_of(serial, kind) as
coalesce('serial:' || serial, 'unit:' || kind, '');
