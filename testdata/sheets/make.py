#!/usr/bin/python3
"""Makes the lists of this folder with other people's programs; see README.md."""
import datetime as dt
import os
import shutil
import subprocess
import sys
import tempfile

import openpyxl
import xlsxwriter
from openpyxl.styles import Font

here = os.path.dirname(os.path.abspath(__file__))
at = lambda name: os.path.join(here, name)

# A stock list as breeders keep it: a title across, headings in the third row, a
# name that is merged beside several rows, real dates, a hidden sheet.
book = openpyxl.Workbook()
sheet = book.active
sheet.title = "Stock"
sheet["A1"] = "Our snakes 2026"
sheet["A1"].font = Font(bold=True, size=16)
sheet.merge_cells("A1:J1")
sheet.append([])
sheet.append(["Name", "ID", "Species", "Sex", "Hatch date", "Morph", "Dam", "Sire", "Clutch", "Notes"])
rows = [
    ["Hazel", "BP-01", "Ball python", "0.1", dt.date(2019, 7, 30), "Pastel", None, None, None, "best mother"],
    ["Rowan", "BP-02", "Königspython", "1.0", dt.date(2020, 8, 2), "Spider, Pastel", None, None, None, None],
    ["Teasel", "BP-17", "Python regius", "f", dt.date(2026, 5, 3), "Pastel het Clown", "Hazel", "Rowan", "Hazel 2", "=SUM of nothing"],
    ["Larch", "BP-18", "royal python", "unknown", dt.datetime(2026, 5, 3, 0, 0), None, "Hazel", "Nobody", "Hazel 2", None],
    ["Pebble", "CS-03", "Corn", "w", dt.date(2026, 4, 1), "anery / amel", None, None, None, None],
]
for row in rows:
    sheet.append(row)
for cell in sheet["E"][3:]:
    cell.number_format = "d-mmm-yy"
secret = book.create_sheet("Prices")
secret.append(["Name", "Price"])
secret.sheet_state = "hidden"
log = book.create_sheet("Log")
log.append(["Animal", "Date", "Weight (g)", "Fed", "Prey", "Shed"])
log.append(["Hazel", dt.date(2026, 9, 1), 2210, "ate", "rat", None])
log.append([None, dt.date(2026, 9, 15), 2225.5, "refused", "rat", None])
log.append([None, dt.date(2026, 9, 20), None, None, None, "complete"])
log.append(["Teasel", dt.datetime(2026, 9, 1, 18, 30), 66, "x", "rat pup", None])
log.append(["Teasel", dt.date(2026, 9, 8), "=66+5", "x", "rat pup", None])
log.merge_cells("A2:A4")
book.save(at("openpyxl.xlsx"))

# The same log counted from 1904, its texts in the cells themselves.
book = xlsxwriter.Workbook(at("xlsxwriter-1904.xlsx"), {"date_1904": True, "constant_memory": True})
sheet = book.add_worksheet("Log")
day, clock = book.add_format({"num_format": "dd/mm/yyyy"}), book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
sheet.write_row(0, 0, ["Animal", "Date", "Weight (oz)", "Notes"])
for i, (name, when, ounces, note) in enumerate([
    ("Hazel", dt.datetime(2026, 3, 4), 78, "first"),
    ("Hazel", dt.datetime(2026, 4, 3, 9, 5), 78.5, "=1+1"),
    ("Teasel", dt.datetime(2026, 12, 31), 2.25, "in the future"),
], start=1):
    sheet.write_string(i, 0, name)
    sheet.write_datetime(i, 1, when, clock if when.hour else day)
    sheet.write_number(i, 2, ounces)
    sheet.write_string(i, 3, note)
sheet.write_formula(4, 2, "=C2/0", None, "#DIV/0!")
sheet.write_string(4, 0, "Hazel")
sheet.write_datetime(4, 1, dt.datetime(2026, 4, 4), day)
book.close()

# One column for each weighing day, shared texts.
book = xlsxwriter.Workbook(at("xlsxwriter-wide.xlsx"))
sheet = book.add_worksheet("Weights")
day = book.add_format({"num_format": "mm/dd/yyyy"})
sheet.write_row(0, 0, ["Animal", "Species"])
for i in range(4):
    sheet.write_datetime(0, 2 + i, dt.datetime(2026, 6, 1 + 7 * i), day)
sheet.write_row(1, 0, ["Alder", "corn snake", 12, 14.5, "-", 19])
sheet.write_row(2, 0, ["Birch", "corn snake", 11, "n/a", 13, "lost"])
book.close()

# LibreOffice reads a list as one types it in German, and writes it as it does.
typed = """Tier;Datum;Gewicht in g;Gefressen;Bemerkung
Schäfchen;03.04.2026;1.204,5;ja;frißt gut
Schäfchen;17.04.2026;1.210;nein;"zwei
Zeilen"
Igel;05.04.2026;48,25;ja;
"""


def office(source, infilter, outfilter, name):
    with tempfile.TemporaryDirectory() as scratch:
        # As it is set up in Germany.
        os.makedirs(f"{scratch}/profile/user")
        with open(f"{scratch}/profile/user/registrymodifications.xcu", "w") as f:
            f.write("""<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>de-DE</value></prop></item>
</oor:items>""")
        subprocess.run(["soffice", f"-env:UserInstallation=file://{scratch}/profile", "--headless", f"--infilter={infilter}",
                        "--convert-to", outfilter, "--outdir", scratch, source], check=True, stdout=subprocess.DEVNULL)
        made = os.path.join(scratch, os.path.splitext(os.path.basename(source))[0] + "." + outfilter.split(":")[0])
        shutil.copyfile(made, at(name))


with tempfile.TemporaryDirectory() as scratch:
    source = os.path.join(scratch, "typed.csv")
    with open(source, "w", encoding="utf-8") as f:
        f.write(typed)
    german = "CSV:59,34,76,1,,1031,false,true"
    office(source, german, "xlsx", "libreoffice.xlsx")
    # Text divided by 59 is ;, 9 a tab; letters 1 are Windows-1252, 65535 UTF-16, 76 UTF-8.
    office(source, german, "csv:Text - txt - csv (StarCalc):59,34,1,1,,1031,false,true", "libreoffice-1252.csv")
    office(source, german, "csv:Text - txt - csv (StarCalc):9,34,65535,1,,1031,false,true", "libreoffice-utf16.csv")
    office(source, german, "csv:Text - txt - csv (StarCalc):59,34,76,1,,1031,true,true,false,false,false,0,true", "libreoffice-utf8.csv")
    office(at("openpyxl.xlsx"), "Calc MS Excel 2007 XML", "ods", "libreoffice.ods")
print("\n".join(f"{n} {os.path.getsize(at(n))}" for n in sorted(os.listdir(here))), file=sys.stderr)
