package assess
import ("testing";"math/rand/v2";"fmt";"strings";"warmhand/internal/care")
func TestScratchTexts(t *testing.T){
 seen:=map[string]bool{}
 say:=func(tag,s string){ k:=tag+": "+s; if !seen[tag+strings.Map(func(r rune)rune{ if r>='0'&&r<='9'{return -1}; return r},s)]{ seen[tag+strings.Map(func(r rune)rune{ if r>='0'&&r<='9'{return -1}; return r},s)]=true; fmt.Println(k)}}
 for seed:=range 500{
  r:=rand.New(rand.NewPCG(7,uint64(seed)))
  var s *Subject; var log []care.Entry
  if seed%2==0 { s,log=randomLog(r)} else {s,log,_=ordinary(r,75)}
  a:=Assess(s,log,at(5+90*r.Float64()))
  say("HEAD",a.Headline); say("SEES",a.KeeperSees); say("MEANS",a.KeeperMeans); say("WORRY",a.KeeperWorry)
  say("MISS",a.Missing)
  for _,x:=range a.Concerns{say("CONCERN",x.Text)}
  for _,x:=range a.Reasons{say("REASON",x.Text)}
  for _,x:=range a.Steps{say("STEP",x.Code+" | "+x.Text)}
  for _,x:=range a.Causes{say("CAUSE",x.Text)}
 }
}
