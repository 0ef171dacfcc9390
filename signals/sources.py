"""Where a limit comes from: the documents behind thresholds and checks, by name.

A short name here, the document in words.
"""

from __future__ import annotations

COMMON = "common practice, no source"
OURS = "our choice"
DERIVED = "derived"

CCR_TRIPS = "California Code of Regulations, title 13, 1968.2 (e)(6.2)-(6.4)"
CCR_CLEAR = "California Code of Regulations, title 13, 1968.2 (d)(2.5)"
GM_2000 = "GM 2000 service information, P0133"
GM_1999 = "GM 1999 service information, P1133"
SATURN_1999 = "Saturn 1999 service information, P0133/P1133/P1134"
SATURN_1998 = "Saturn 1998 service information, P0134"
CADILLAC_2006 = "Cadillac 2006 service information, P0174"
SUZUKI_2011 = "Suzuki 2011 service information, fuel system monitor"
TOYOTA_REAR = "Toyota service information, P0139"
HONDA_2023 = "Honda 2023 service information, P0159"
SUZUKI_2010 = "Suzuki 2010 service information, P2195"
SUZUKI_2003 = "Suzuki 2003 service information, thermostat"
ISUZU_2001 = "Isuzu 2001 service information, P0125"
MAZDA_CAM = "Mazda service information, P0012"
SUZUKI_CAM = "Suzuki V6 2008 service information, P0008"
FORD_LEAKS = "Ford service information, exhaust leaks"
MITSUBISHI_2003 = "Mitsubishi 2003 service information, P0300"
PORSCHE_986 = "Porsche 986 service information, crossed sensors"
TOYOTA_2021 = "Toyota 2021 service information, P2195"
MAZDA_2003 = "Mazda 2003 service information, P0138"
MOTOR_2012_FEB = "MOTOR magazine, Driveability Corner, Feb 2012"
MOTOR_1999 = "MOTOR magazine, Driveability Corner, Apr 1999"
MOTOR_2003 = "MOTOR magazine, Driveability Corner, Dec 2003"
MOTOR_2012_JUN = "MOTOR magazine, Driveability Corner, Jun 2012"
MOTOR_2016 = "MOTOR magazine, Driveability Corner, Dec 2016"
AGEING = "SAE 1979 abstract on ageing of ZrO2 oxygen sensors"
TEXTBOOK = "textbook on computer-controlled engines"
