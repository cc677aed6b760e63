package sheet

import (
	"slices"
	"strings"
	"unicode"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// Meaning is what a column holds.
type Meaning string

// The meanings. WeightOn is a column that is one day: its heading is the date.
const (
	Ignored     Meaning = ""
	Name        Meaning = "name"
	AnimalID    Meaning = "id"
	Species     Meaning = "species"
	Sex         Meaning = "sex"
	Hatched     Meaning = "hatched"
	Genes       Meaning = "genes"
	Dam         Meaning = "dam"
	Sire        Meaning = "sire"
	Clutch      Meaning = "clutch"
	Place       Meaning = "place"
	SnoutVent   Meaning = "snout_vent"
	TotalLength Meaning = "total_length"
	AnimalNote  Meaning = "animal_note"
	Date        Meaning = "date"
	Time        Meaning = "time"
	Weight      Meaning = "weight"
	WeightOn    Meaning = "weight_on"
	Event       Meaning = "event"
	Result      Meaning = "result"
	Prey        Meaning = "prey"
	PreyState   Meaning = "prey_state"
	PreyMass    Meaning = "prey_mass"
	ShedMark    Meaning = "shed"
	Sign        Meaning = "sign"
	Warm        Meaning = "warm_c"
	Cool        Meaning = "cool_c"
	Night       Meaning = "night_c"
	Surface     Meaning = "surface_c"
	Humidity    Meaning = "humidity_pct"
	TakenWith   Meaning = "taken_with"
	Note        Meaning = "note"
)

// meanings are all of them in the order of a form, with the headings that are
// understood, folded; a heading is matched whole first, then by its words. The
// first of each is what an export writes. The languages are those of the
// breeders' lists that we expect; common practice, no source.
var meanings = []struct {
	Meaning
	Label    string
	headings []string
}{
	{Name, "Animal's name", []string{"animal", "name", "snake", "animal name", "snake name", "label", "tier", "tiername", "schlange", "nom", "nombre", "nome", "naam"}},
	{AnimalID, "Animal's id or number", []string{"animal id", "id", "no", "nr", "number", "snake id", "id number", "animal no", "code", "nummer", "tier nr", "tiernummer", "numero", "kennung"}},
	{Species, "Species", []string{"species", "kind of snake", "type of snake", "scientific name", "art", "tierart", "spezies", "espece", "especie", "specie", "soort"}},
	{Sex, "Sex", []string{"sex", "gender", "m f", "geschlecht", "sexe", "sexo", "sesso", "geslacht"}},
	{Hatched, "Hatched or born", []string{"hatched", "hatch date", "hatched on", "date hatched", "hatch", "born", "birth", "date of birth", "dob", "birthday", "birth date", "doh", "geboren", "schlupf", "schlupfdatum", "geschlupft", "geburtsdatum", "geburt", "naissance", "nacimiento", "nascita", "geboortedatum"}},
	{Genes, "Genes", []string{"genes", "gene", "genetics", "morph", "morphs", "traits", "mutation", "mutations", "gen", "genetik", "morphe", "farbe", "phase"}},
	{Dam, "Mother", []string{"dam", "mother", "mutter", "muttertier", "mere", "madre", "moeder", "mum", "mom"}},
	{Sire, "Father", []string{"sire", "father", "vater", "vatertier", "pere", "padre", "vader", "dad"}},
	{Clutch, "Clutch", []string{"clutch", "clutch id", "clutch no", "clutch number", "litter", "gelege", "wurf", "ponte", "nidada"}},
	{Place, "Where it is kept", []string{"place", "tub", "rack", "location", "kept in", "rack and tub", "rack tub", "shelf", "enclosure", "housing", "fach", "regal", "standort", "platz", "box"}},
	{SnoutVent, "Snout to vent", []string{"snout vent mm", "snout to vent", "snout vent", "svl", "snout vent length", "kopf rumpf lange", "krl"}},
	{TotalLength, "Total length", []string{"total length mm", "total length", "length", "lange", "gesamtlange", "longueur", "largo", "lunghezza", "lengte"}},
	{AnimalNote, "Note on the animal", []string{"animal note", "about", "description", "beschreibung"}},
	{Date, "Date", []string{"at", "date", "day", "when", "date time", "datetime", "timestamp", "weigh date", "weighed on", "date weighed", "feed date", "fed on", "feeding date", "datum", "tag", "wann", "fecha", "data", "wiegedatum", "futterdatum"}},
	{Time, "Time of day", []string{"time", "hour", "time of day", "uhrzeit", "zeit", "heure", "hora", "ora", "tijd"}},
	{Weight, "Weight", []string{"weight g", "weight", "mass", "last weight", "current weight", "weight in", "wt", "gewicht", "masse", "poids", "peso", "grams", "gramm", "g"}},
	{WeightOn, "Weight on the day in the heading", nil},
	{Event, "What kind of line", []string{"what", "event", "type", "entry", "log type", "action", "activity", "ereignis", "vorgang", "aktion"}},
	{Result, "Eaten or refused", []string{"result", "eaten", "ate", "outcome", "accepted", "refused", "fed", "feeding", "feeding result", "response", "gefressen", "fressverhalten", "ergebnis", "mange", "comido"}},
	{Prey, "Prey", []string{"prey", "food", "feeder", "prey item", "prey type", "food item", "meal", "prey size", "feeder size", "futter", "futtertier", "beute", "proie", "presa", "prooi"}},
	{PreyState, "Prey: thawed, fresh, live", []string{"prey state", "state", "frozen thawed", "ft live", "live frozen", "offered as", "zustand"}},
	{PreyMass, "Prey's weight", []string{"prey g", "prey weight", "prey mass", "food weight", "feeder weight", "meal weight", "meal size", "size", "futtergewicht", "grosse"}},
	{ShedMark, "Shed", []string{"shed", "sheds", "shed date", "shedding", "slough", "hautung", "gehautet", "mue", "muda", "vervelling"}},
	{Sign, "Sign of trouble (our code)", []string{"sign"}},
	{Warm, "Warm end °C", []string{"warm c"}},
	{Cool, "Cool end °C", []string{"cool c"}},
	{Night, "Night °C", []string{"night c"}},
	{Surface, "Warmest surface °C", []string{"surface c"}},
	{Humidity, "Humidity %", []string{"humidity pct", "humidity"}},
	{TakenWith, "Measured with", []string{"taken with"}},
	{Note, "Note", []string{"note", "notes", "comment", "comments", "remark", "remarks", "notiz", "notizen", "bemerkung", "bemerkungen", "kommentar", "remarque", "notas", "opmerking"}},
}

// Meanings lists what a column can mean, in the order of a form.
func Meanings() []Meaning {
	out := make([]Meaning, len(meanings))
	for i, m := range meanings {
		out[i] = m.Meaning
	}
	return out
}

// Label is a meaning in plain words.
func (m Meaning) Label() string {
	for _, x := range meanings {
		if x.Meaning == m {
			return x.Label
		}
	}
	return "Leave out"
}

// fold makes texts comparable: lower case, no accents, one space between words.
func fold(s string) string {
	return strings.Join(strings.FieldsFunc(deaccent.Replace(strings.ToLower(s)), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}), " ")
}

var deaccent = strings.NewReplacer("ä", "a", "ö", "o", "ü", "u", "ß", "ss", "á", "a", "à", "a", "â", "a", "é", "e", "è", "e", "ê", "e", "í", "i", "ì", "i", "î", "i",
	"ó", "o", "ò", "o", "ô", "o", "ú", "u", "ù", "u", "û", "u", "ñ", "n", "ç", "c", "#", " no ", "№", " no ")

// meaningOf guesses what a heading means. sure is false for a match of some of
// its words only.
func meaningOf(heading string) (m Meaning, sure bool) {
	h := fold(heading)
	if h == "" {
		return Ignored, false
	}
	for _, x := range meanings {
		if slices.Contains(x.headings, h) {
			return x.Meaning, true
		}
	}
	// Without units and what stands in brackets.
	words := slices.DeleteFunc(strings.Fields(h), func(w string) bool { _, unit := unitNames[w]; return unit })
	bare := strings.Join(words, " ")
	longest := 0
	for _, x := range meanings {
		for _, known := range x.headings {
			if bare == known {
				return x.Meaning, true
			}
			if len(known) > 2 && len(known) > longest && strings.Contains(" "+bare+" ", " "+known+" ") {
				m, longest = x.Meaning, len(known)
			}
		}
	}
	return m, false
}

// speciesNames are what the trade calls the species of the table; common
// practice, no source.
var speciesNames = map[string]string{
	"royal python": "python_regius", "royal": "python_regius", "ball": "python_regius", "bp": "python_regius", "konigspython": "python_regius", "python royal": "python_regius", "piton bola": "python_regius", "pitone reale": "python_regius", "koningspython": "python_regius",
	"corn": "pantherophis_guttatus", "cornsnake": "pantherophis_guttatus", "red rat snake": "pantherophis_guttatus", "kornnatter": "pantherophis_guttatus", "serpent des bles": "pantherophis_guttatus", "rode rattenslang": "pantherophis_guttatus",
	"boa": "boa_imperator", "common boa": "boa_imperator", "bci": "boa_imperator", "kaiserboa": "boa_imperator", "abgottschlange": "boa_imperator",
	"hognose": "heterodon_nasicus", "western hognose": "heterodon_nasicus", "hoggie": "heterodon_nasicus", "hakennasennatter": "heterodon_nasicus", "westliche hakennasennatter": "heterodon_nasicus",
	"kingsnake": "lampropeltis_californiae", "king snake": "lampropeltis_californiae", "california king": "lampropeltis_californiae", "cal king": "lampropeltis_californiae", "kalifornische kettennatter": "lampropeltis_californiae", "kettennatter": "lampropeltis_californiae",
	"milksnake": "lampropeltis_triangulum", "dreiecksnatter": "lampropeltis_triangulum",
	"garter": "thamnophis_sirtalis", "strumpfbandnatter": "thamnophis_sirtalis",
	"carpet": "morelia_spilota", "teppichpython": "morelia_spilota", "rautenpython": "morelia_spilota",
	"children s python": "antaresia_childreni", "childrens python": "antaresia_childreni",
	"brb": "epicrates_cenchria", "brazilian rainbow boa": "epicrates_cenchria", "regenbogenboa": "epicrates_cenchria",
	"short tailed python": "python_brongersmai", "blutpython": "python_brongersmai",
	"gtp": "morelia_viridis", "gruner baumpython": "morelia_viridis", "baumpython": "morelia_viridis",
	"african house snake": "boaedon_fuliginosus", "hausschlange": "boaedon_fuliginosus",
	"retic": "malayopython_reticulatus", "netzpython": "malayopython_reticulatus",
	"burm": "python_bivittatus", "tigerpython": "python_bivittatus", "dunkler tigerpython": "python_bivittatus",
	"other snake": care.OtherSnake, "other": care.OtherSnake,
}

// speciesOf is the id of the species that a list names, "" when none is known by
// that name.
func speciesOf(text string) string {
	h := fold(text)
	if id, ok := speciesNames[h]; ok {
		return id
	}
	if s, ok := snake.ByID(strings.ReplaceAll(h, " ", "_")); ok {
		return s.ID
	}
	for _, s := range snake.All() {
		common := fold(s.Common)
		if h == common || h == common+"s" || h == strings.TrimSuffix(common, " snake") || strings.HasPrefix(h, fold(s.Scientific)+" ") || h == abbreviated(s.Scientific) {
			return s.ID
		}
	}
	// Several names of one species in a cell: "Königspython (Python regius)".
	if open := strings.IndexByte(text, '('); open > 0 && strings.HasSuffix(strings.TrimSpace(text), ")") {
		if id := speciesOf(text[:open]); id != "" {
			return id
		}
		return speciesOf(strings.Trim(strings.TrimSpace(text[open:]), "()"))
	}
	return ""
}

// abbreviated is "p regius" for Python regius.
func abbreviated(scientific string) string {
	genus, rest, _ := strings.Cut(fold(scientific), " ")
	return genus[:1] + " " + rest
}

func sexOf(c Cell) (care.Sex, bool) {
	text := strings.ToLower(strings.TrimSpace(c.Text))
	switch strings.Trim(text, ". ") {
	case "m", "male", "♂", "1.0", "1,0", "1.0.0", "1/0", "1", "mannlich", "männlich", "mann", "männchen", "mâle", "macho", "maschio", "mannetje":
		return care.Male, true
	case "f", "female", "♀", "0.1", "0,1", "0.1.0", "0/1", "w", "weiblich", "weibchen", "femelle", "hembra", "femmina", "vrouwtje", "fem":
		return care.Female, true
	case "", "?", "u", "unknown", "unsexed", "not sexed", "n/a", "na", "-", "0.0.1", "0,0,1", "0/0/1", "0", "unbekannt", "inconnu":
		return care.SexUnknown, true
	}
	return "", false
}

// vocabulary is a closed list of words and what each stands for.
type vocabulary map[string]string

func (v vocabulary) find(text string) (string, bool) {
	if s := strings.TrimSpace(text); s == "✓" || s == "✔" {
		text = "yes"
	} else if s == "✗" || s == "✘" {
		text = "no"
	}
	code, ok := v[fold(text)]
	return code, ok
}

var resultWords = vocabulary{
	"eaten": "eaten", "ate": "eaten", "eat": "eaten", "yes": "eaten", "y": "eaten", "x": "eaten", "1": "eaten", "true": "eaten", "ok": "eaten", "accepted": "eaten", "took": "eaten", "taken": "eaten", "fed": "eaten", "gefressen": "eaten", "ja": "eaten", "j": "eaten", "oui": "eaten", "si": "eaten", "mange": "eaten", "comido": "eaten", "gegeten": "eaten",
	"refused": "refused", "refusal": "refused", "no": "refused", "n": "refused", "0": "refused", "false": "refused", "rejected": "refused", "declined": "refused", "not eaten": "refused", "did not eat": "refused", "didn t eat": "refused", "none": "refused", "nein": "refused", "verweigert": "refused", "nicht gefressen": "refused", "non": "refused", "refuse": "refused", "geweigerd": "refused",
	"struck": "struck", "struck and let go": "struck", "struck not eaten": "struck", "zugebissen": "struck",
	"regurgitated": "regurgitated", "regurgitation": "regurgitated", "regurge": "regurgitated", "regurg": "regurgitated", "regurged": "regurgitated", "threw up": "regurgitated", "ausgewurgt": "regurgitated", "ausgespuckt": "regurgitated",
}

var stateWords = vocabulary{
	"thawed": "thawed", "frozen": "thawed", "frozen thawed": "thawed", "f t": "thawed", "ft": "thawed", "frost": "thawed", "tk": "thawed", "aufgetaut": "thawed", "frostfutter": "thawed", "defrosted": "thawed",
	"prekilled": "prekilled", "pre killed": "prekilled", "pk": "prekilled", "p k": "prekilled", "fresh": "prekilled", "fresh killed": "prekilled", "freshly killed": "prekilled", "f k": "prekilled", "fk": "prekilled", "frisch getotet": "prekilled", "frischtot": "prekilled",
	"live": "live", "alive": "live", "lebend": "live", "lebendfutter": "live", "vivant": "live", "vivo": "live",
}

// shedWords stand for a stage, and for a whole skin or one in pieces.
var shedWords = vocabulary{
	"shed": "shed", "yes": "shed", "y": "shed", "x": "shed", "1": "shed", "ja": "shed", "true": "shed", "done": "shed", "gehautet": "shed", "hautung": "shed", "oui": "shed", "si": "shed",
	"complete": "shed whole", "full": "shed whole", "whole": "shed whole", "one piece": "shed whole", "in one piece": "shed whole", "good": "shed whole", "perfect": "shed whole", "shed complete": "shed whole", "complete shed": "shed whole", "full shed": "shed whole", "shed whole": "shed whole", "komplett": "shed whole", "vollstandig": "shed whole", "am stuck": "shed whole",
	"incomplete": "shed pieces", "partial": "shed pieces", "pieces": "shed pieces", "in pieces": "shed pieces", "bad": "shed pieces", "stuck": "shed pieces", "stuck shed": "shed pieces", "shed incomplete": "shed pieces", "partial shed": "shed pieces", "shed in pieces": "shed pieces", "unvollstandig": "shed pieces", "in fetzen": "shed pieces", "shed pieces": "shed pieces",
	"opaque": "opaque", "blue": "opaque", "in blue": "opaque", "in shed": "opaque", "blind": "opaque", "trub": "opaque", "milchig": "opaque",
	"clear": "clear", "cleared": "clear", "klar": "clear",
	"no": "", "n": "", "0": "", "nein": "", "false": "", "none": "", "non": "",
}

// eventWords say what kind of line a row is.
var eventWords = vocabulary{
	"weigh in": "weigh_in", "weight": "weigh_in", "weigh": "weigh_in", "weighed": "weigh_in", "weighing": "weigh_in", "wt": "weigh_in", "gewicht": "weigh_in", "wiegen": "weigh_in", "gewogen": "weigh_in", "wiegung": "weigh_in", "poids": "weigh_in", "pesee": "weigh_in", "peso": "weigh_in",
	"offer": "offer", "feeding": "offer", "feed": "offer", "fed": "offer", "food": "offer", "meal": "offer", "offered": "offer", "futterung": "offer", "futter": "offer", "gefuttert": "offer", "repas": "offer", "comida": "offer",
	"ate": "offer eaten", "eaten": "offer eaten", "gefressen": "offer eaten", "refused": "offer refused", "refusal": "offer refused", "not eaten": "offer refused", "verweigert": "offer refused",
	"regurgitated": "offer regurgitated", "regurgitation": "offer regurgitated", "regurge": "offer regurgitated",
	"shed": "shed", "shedding": "shed", "sloughed": "shed", "hautung": "shed", "gehautet": "shed", "mue": "shed", "muda": "shed", "in shed": "opaque", "in blue": "opaque", "blue": "opaque", "opaque": "opaque",
	"climate": "climate", "sign": "sign",
}
