// German of what is planned, by a worklist.
export const germanPlanned: Record<string, string> = {
  "Planned today": "Heute geplant",
  "The worklist did not answer.": "Die Arbeitsliste antwortet nicht.",
  "born": "geb.",
  "begin it": "beginnen",
  "beginning ...": "wird angelegt ...",
  "No ultrasound is planned today.": "Heute ist kein Ultraschall geplant.",
  "There are more; the worklist names too many to show.": "Es gibt mehr; die Arbeitsliste nennt zu viele, um sie zu zeigen.",
  "ask the worklist again": "die Arbeitsliste noch einmal fragen",
  "Patient and order are written into the examination’s folder on this machine, and from there into the report.": "Patient und Auftrag stehen dann im Ordner der Untersuchung auf diesem Rechner und von dort im Bericht.",
};
