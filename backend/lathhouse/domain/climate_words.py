"""What the calculations about nights, moisture and heat say when they refuse."""

CLIMATE = {
    "climate_number": "{field} must be a number from {low} to {high}.",
    "climate_date": "date must be a local date such as 2026-09-10.",
    "climate_pair": "{field} must be [low, high], the low one first.",
    "climate_night": "hours_sunset_to_sunrise must be more than 2 and at most 24: the course begins"
    " two hours after sunset.",
    "climate_rises": "tmin_C must not be above t2_C: the night's minimum lies below its second"
    " hour.",
    "climate_nights": "t0_C, td_C and tn_C must be lists of the same 10 to 10,000 nights of the"
    " site itself.",
    "forecast_form": "A forecast is JSON with a list forecast, or CSV whose first line names date,"
    " low_c and high_c.",
    "forecast_row": "Row {row}: date must be a day such as 2026-09-10, low_c and high_c numbers of"
    " °C from -60 to 60, at least one of them there.",
    "forecast_rows": "A forecast has at most {most} days.",
    "forecast_long": "A forecast has at most {most} characters.",
}
