package assess

import (
	"math"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// OwnThreshold is one that a breeder may move for the breeder's own cases.
type OwnThreshold struct {
	Code  string // in care.Thresholds and in case files
	Label string
	About string // what it decides
	// Less and More say what a smaller and a greater value bring.
	Less, More string
	// Unit is "share" (0 to 1, shown in %), "times" or "days".
	Unit                       string
	Default, Least, Most, Step float64
	Sure, Source               string // of the default
}

// Fixed says what no threshold moves, and why.
var Fixed = []string{
	"Signs of illness and injury keep their level. A wheeze or a burn is for a vet whatever the numbers say.",
	"Food that came up twice within a month is for a vet, and once is watched.",
	"A tenth of the weight gone is a red rule. It may come earlier than the program has it, not later.",
	"Heat, cold, burns and hazards of the setup are judged by the species' limits: they are the same animal's in every book.",
}

var ownThresholds = func() []OwnThreshold {
	list := []OwnThreshold{
		{Code: "watch_from", Label: "Watch from", Unit: "share", Default: calibrated(alarmFrom[0]),
			About: "The chance of a lasting refusal from which a case is on watch. A loss that a scale has shown counts with it.",
			Less:  "More cases on watch, and earlier. More of them are ordinary pauses.",
			More:  "Fewer cases on watch, and later."},
		{Code: "act_from", Label: "Step in from", Unit: "share", Default: calibrated(alarmFrom[2]),
			About: "The chance of a lasting refusal from which you are asked to step in.",
			Less:  "You are asked more often and earlier, and more often in vain.",
			More:  "You are asked less often. An animal that refuses for good is found later."},
		{Code: "lost_from", Label: "Weight gone from", Unit: "share", Default: lostFrom,
			About: "How sure it must be that a tenth of the weight is gone before the weight alone is a red rule.",
			Less:  "You are asked to step in earlier, on weaker evidence. It is for a vet once a scale makes it more likely than not.",
			More:  "It cannot be more than the program's own: a red rule may come earlier, not later."},
		{Code: "silence_gaps", Label: "Silence after", Unit: "times", Default: silenceGaps,
			About: "How long a keeper may be silent, in times of the longest usual gap between two meals of such an animal. A gap shorter than a week counts as a week.",
			Less:  "Silent keepers are shown sooner.",
			More:  "Keepers may be silent for longer. Nothing else is judged later by it."},
		{Code: "first_word_days", Label: "First word within", Unit: "days", Default: firstWordDays,
			About: "How long the first word after the handover may take. The time above counts where it is longer.",
			Less:  "You hear sooner of a card that nobody took up.",
			More:  "New keepers have more time to settle in."},
	}
	bounds := snake.Group("own threshold", 3)
	for i := range list {
		t := &list[i]
		b := bounds[t.Code]
		t.Least, t.Most, t.Step = b[0], b[1], b[2]
		of, what := "level", "alarm"
		switch t.Code {
		case "lost_from":
			what = "lost"
		case "silence_gaps":
			of, what = "silence", "gaps"
		case "first_word_days":
			of, what = "silence", "first_word"
		}
		t.Sure, t.Source = snake.Known(of, what)
	}
	return list
}()

// OwnThresholds are the thresholds that a breeder may move, in the order in
// which they are shown. The list must not be changed.
func OwnThresholds() []OwnThreshold { return ownThresholds }

// CheckThresholds checks what a breeder wants and returns it as it is kept:
// without what is the program's own, within half a step. What is wrong is a
// BadField error that names the threshold.
func CheckThresholds(t care.Thresholds) (care.Thresholds, error) {
	full := t
	for i := range ownThresholds {
		o := &ownThresholds[i]
		v, all := t.Of(o.Code), full.Of(o.Code)
		switch {
		case *v == 0 || math.Abs(*v-o.Default) < o.Step/2:
			*v, *all = 0, o.Default
		case !(*v >= o.Least && *v <= o.Most):
			return t, care.BadField("thresholds.own."+o.Code, "“{name}” goes from {least} to {most}. Choose a value between them.", words.Say(o.Label), o.Say(o.Least), o.Say(o.Most))
		}
	}
	if full.Watch > full.Act {
		return t, care.BadField("thresholds.own.act_from", "Stepping in from {act} comes before watching from {watch}. Choose the same or more here, or less there.", ownThresholds[1].Say(full.Act), ownThresholds[0].Say(full.Watch))
	}
	return t, nil
}

// Say is a value of the threshold in words.
func (o *OwnThreshold) Say(v float64) words.Text {
	switch o.Unit {
	case "share":
		return words.Say("{share} %", number(100*v, 0))
	case "times":
		return words.Say("{value} times", number(v, 2))
	}
	return dayCount(int(v))
}
