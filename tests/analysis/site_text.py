"""A site file with every key of the contract, for tests to break one at a time."""

WHOLE = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"
latitude = 52.1
longitude = -2.3
handed_over = 2025-09-12
floor_area_m2 = 142.0
outdoor_from = "beech-end"

[design]
heat_loss_kw = 8.4
indoor_c = 20.5
outdoor_c = -3.0
space_heat_kwh_per_year = 15200.0
hot_water_kwh_per_year = 2900.0
spf_space = 3.6
spf_hot_water = 2.7
bivalent_c = -5.0

[heat_pump]
source = "air"
rated_output_kw = 8.5
min_output_kw = 2.6
max_flow_c = 70.0
flow_m3_per_h = 1.45
antifreeze = "none"
antifreeze_percent = 0
refrigerant = "R290"
[[heat_pump.rating]]
outdoor_c = 7.0
flow_c = 35.0
output_kw = 8.5
cop = 4.8

[heating_curve]
points = [[-3.0, 46.0], [15.0, 28.0]]

[[emitter]]
zone = "house"
kind = "radiator"
output_kw = 14.6
output_excess_k = 50.0

[hot_water]
cylinder_litres = 250
setpoint_c = 50.0
reheat_below_c = 42.0
pasteurise_c = 60.0
pasteurise_every_days = 7
standing_loss_kwh_per_day = 1.6

[buffer]
litres = 50
arrangement = "series"

[cost]
currency = "GBP"
electricity = 0.27
standing_charge_per_day = 0.55
previous_fuel = "heating_oil"
previous_fuel_price = 0.068
previous_efficiency = 0.82
[[cost.band]]
from = "00:30"
to = "05:30"
price = 0.09

[csv]
time_column = "time"
timezone = "UTC"
time_format = "iso"
delimiter = ","
decimal = "."

[[point]]
id = "hp_elec"
quantity = "heat_pump_electricity"
as = "power"
unit = "W"
column = "P_el"
topic = "gateway7/em/1"
pointer = "/power/total"
includes = ["circulation_pump"]
meter_class = "B"

[[point]]
id = "heat"
quantity = "heat_output"
as = "register"
unit = "MWh"
meter_class = "2"
antifreeze_corrected = false

[[point]]
id = "mode"
quantity = "operating_mode"
as = "state"
[point.values]
"0" = "off"
"1" = "heating"

[limits]
running_above_w = 250.0
"""
