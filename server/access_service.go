package server

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/structpb"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/words"
)

type accessService struct {
	pb.UnimplementedAccessServiceServer
	s *Server
}

// me says who an actor is, from inside the transaction of a sign-in too.
func (a *accessService) me(tx care.Tx, who care.Actor) (*pb.GetMeResponse, error) {
	out := &pb.GetMeResponse{Role: string(who.Kind), Version: a.s.cfg.Version}
	if who.BreederID == "" {
		if who.Kind != care.KeeperActor {
			return out, nil
		}
		k, err := tx.Keeper(who.KeeperID)
		out.Language = k.Language
		return out, err
	}
	b, err := tx.Breeder(who.BreederID)
	if err != nil {
		return nil, err
	}
	out.Breeder, out.BreederName, out.EraseTime = breederName(b.ID), b.Name, maybeTime(b.EraseAt)
	if who.Kind == care.Program {
		return out, nil
	}
	u, err := tx.User(who.BreederID, who.UserID)
	if err != nil {
		return nil, err
	}
	keys, err := tx.ListPasskeys(who.BreederID, who.UserID)
	if err != nil {
		return nil, err
	}
	left, err := access.RecoveryCodesLeft(tx, who.BreederID, who.UserID)
	out.UserName, out.PersonId, out.Language, out.Passkeys, out.RecoveryCodes = u.Name, u.ID, u.Language, int32(len(keys)), int32(left)
	return out, err
}

func (a *accessService) GetMe(ctx context.Context, _ *pb.GetMeRequest) (out *pb.GetMeResponse, err error) {
	err = a.s.store.Read(ctx, func(tx care.Tx) (err error) {
		out, err = a.me(tx, callOf(ctx).who.Actor)
		return err
	})
	return out, err
}

// signIn runs a check that says who somebody is and starts a session, both in
// one transaction.
func (a *accessService) signIn(ctx context.Context, check func(tx care.Tx, now time.Time) (care.Actor, error)) (me *pb.GetMeResponse, err error) {
	c, now := callOf(ctx), a.s.now()
	var who care.Actor
	var secret string
	err = a.s.store.Write(ctx, func(tx care.Tx) (err error) {
		if who, err = check(tx, now); err != nil {
			return err
		}
		if secret, err = a.s.enter(tx, who, c, now); err != nil {
			return err
		}
		me, err = a.me(tx, who)
		return err
	})
	if err == nil {
		c.who.keeps(who, secret)
	}
	return me, err
}

// enter starts a session, and keeps the language of the request for somebody of whom
// none is known.
func (s *Server) enter(tx care.Tx, who care.Actor, c *call, now time.Time) (secret string, err error) {
	if err := followup.FirstLanguage(tx, who, c.wants()); err != nil {
		return "", err
	}
	return s.sessions.Start(tx, who, c.cred.agent, now)
}

func (a *accessService) SetLanguage(ctx context.Context, req *pb.SetLanguageRequest) (*pb.SetLanguageResponse, error) {
	who := callOf(ctx).who.Actor
	if err := a.s.followup.SetLanguage(ctx, who, req.GetLanguage()); err != nil {
		return nil, err
	}
	tag, err := a.s.followup.Language(ctx, who)
	return &pb.SetLanguageResponse{Language: tag}, err
}

func (a *accessService) RedeemSignInLink(ctx context.Context, req *pb.RedeemSignInLinkRequest) (*pb.RedeemSignInLinkResponse, error) {
	me, err := a.signIn(ctx, func(tx care.Tx, now time.Time) (care.Actor, error) {
		return access.RedeemSignInLink(tx, req.GetSecret(), now)
	})
	return &pb.RedeemSignInLinkResponse{Me: me}, err
}

func (a *accessService) UseRecoveryCode(ctx context.Context, req *pb.UseRecoveryCodeRequest) (*pb.UseRecoveryCodeResponse, error) {
	me, err := a.signIn(ctx, func(tx care.Tx, now time.Time) (care.Actor, error) {
		return access.RedeemRecoveryCode(tx, req.GetCode(), now)
	})
	return &pb.UseRecoveryCodeResponse{Me: me}, err
}

func (a *accessService) UseKeeperCode(ctx context.Context, req *pb.UseKeeperCodeRequest) (*pb.UseKeeperCodeResponse, error) {
	me, err := a.signIn(ctx, func(tx care.Tx, now time.Time) (care.Actor, error) {
		return access.RedeemKeeperCode(tx, a.s.key, req.GetCode(), req.GetRequestId(), callOf(ctx).who.Actor, now)
	})
	return &pb.UseKeeperCodeResponse{Me: me}, err
}

func (a *accessService) CreateKeeperCode(ctx context.Context, req *pb.CreateKeeperCodeRequest) (*pb.CreateKeeperCodeResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	out := &pb.CreateKeeperCodeResponse{}
	err = a.s.followup.LetKeeperIn(ctx, callOf(ctx).who.Actor, ids[0], ids[1], req.GetEndSignIns(), func(tx care.Tx, keeper care.Actor) error {
		code, kept, err := access.NewKeeperCode(tx, a.s.key, keeper, false, req.GetEndSignIns(), a.s.now())
		out.Code = a.keeperCode(code, kept)
		return err
	})
	return out, err
}

func (a *accessService) CreateDeviceCode(ctx context.Context, _ *pb.CreateDeviceCodeRequest) (*pb.CreateDeviceCodeResponse, error) {
	out := &pb.CreateDeviceCodeResponse{}
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		code, kept, err := access.NewKeeperCode(tx, a.s.key, callOf(ctx).who.Actor, true, false, a.s.now())
		out.Code = a.keeperCode(code, kept)
		return err
	})
	return out, err
}

func (a *accessService) keeperCode(code string, kept care.Secret) *pb.KeeperCode {
	return &pb.KeeperCode{Code: code, Url: a.s.SignInURL(strings.ReplaceAll(code, "-", "")), ExpireTime: timeToProto(kept.ExpiresAt)}
}

// passkeys is the ceremonies, or why there are none.
func (a *accessService) passkeys() (*access.Passkeys, error) {
	if a.s.passkeys == nil {
		return nil, &care.Error{Code: care.Precondition, Reason: care.ReasonPasskeyRefused,
			Text: words.Say("Browsers allow passkeys on https and on localhost only. Sign in with a link or a recovery code.")}
	}
	return a.s.passkeys, nil
}

func (a *accessService) BeginPasskeySignIn(ctx context.Context, _ *pb.BeginPasskeySignInRequest) (*pb.BeginPasskeySignInResponse, error) {
	ceremony, options, err := a.begin(ctx, func(keys *access.Passkeys, tx care.Tx) (access.Ceremony, error) {
		return keys.BeginSignIn(tx, a.s.now())
	})
	return &pb.BeginPasskeySignInResponse{Ceremony: ceremony, Options: options}, err
}

func (a *accessService) BeginPasskeyRegistration(ctx context.Context, _ *pb.BeginPasskeyRegistrationRequest) (*pb.BeginPasskeyRegistrationResponse, error) {
	ceremony, options, err := a.begin(ctx, func(keys *access.Passkeys, tx care.Tx) (access.Ceremony, error) {
		return keys.BeginRegister(tx, callOf(ctx).who.Actor, a.s.now())
	})
	return &pb.BeginPasskeyRegistrationResponse{Ceremony: ceremony, Options: options}, err
}

func (a *accessService) begin(ctx context.Context, f func(*access.Passkeys, care.Tx) (access.Ceremony, error)) (id string, options *structpb.Struct, err error) {
	keys, err := a.passkeys()
	if err != nil {
		return "", nil, err
	}
	var c access.Ceremony
	if err = a.s.store.Write(ctx, func(tx care.Tx) (err error) {
		c, err = f(keys, tx)
		return err
	}); err != nil {
		return "", nil, err
	}
	options = &structpb.Struct{}
	if err := protojson.Unmarshal(c.Options, options); err != nil {
		return "", nil, fmt.Errorf("a passkey's options: %w", err)
	}
	return c.ID, options, nil
}

func (a *accessService) FinishPasskeySignIn(ctx context.Context, req *pb.FinishPasskeySignInRequest) (*pb.FinishPasskeySignInResponse, error) {
	keys, err := a.passkeys()
	if err != nil {
		return nil, err
	}
	answer, err := protojson.Marshal(req.GetCredential())
	if err != nil {
		return nil, care.BadField("credential", "The browser's answer could not be read. Begin again.")
	}
	me, err := a.signIn(ctx, func(tx care.Tx, now time.Time) (care.Actor, error) {
		return keys.FinishSignIn(tx, req.GetCeremony(), answer, now)
	})
	return &pb.FinishPasskeySignInResponse{Me: me}, err
}

func (a *accessService) FinishPasskeyRegistration(ctx context.Context, req *pb.FinishPasskeyRegistrationRequest) (*pb.FinishPasskeyRegistrationResponse, error) {
	keys, err := a.passkeys()
	if err != nil {
		return nil, err
	}
	answer, err := protojson.Marshal(req.GetCredential())
	if err != nil {
		return nil, care.BadField("credential", "The browser's answer could not be read. Begin again.")
	}
	var key care.Passkey
	err = a.s.store.Write(ctx, func(tx care.Tx) (err error) {
		key, err = keys.FinishRegister(tx, callOf(ctx).who.Actor, req.GetCeremony(), answer, req.GetLabel(), a.s.now())
		return err
	})
	return &pb.FinishPasskeyRegistrationResponse{Passkey: passkeyToProto(&key)}, err
}

func (a *accessService) ListPasskeys(ctx context.Context, _ *pb.ListPasskeysRequest) (*pb.ListPasskeysResponse, error) {
	who, out := callOf(ctx).who, &pb.ListPasskeysResponse{}
	err := a.s.store.Read(ctx, func(tx care.Tx) error {
		list, err := tx.ListPasskeys(who.BreederID, who.UserID)
		for i := range list {
			out.Passkeys = append(out.Passkeys, passkeyToProto(&list[i]))
		}
		return err
	})
	return out, err
}

func (a *accessService) DeletePasskey(ctx context.Context, req *pb.DeletePasskeyRequest) (*pb.DeletePasskeyResponse, error) {
	return &pb.DeletePasskeyResponse{}, a.s.store.Write(ctx, func(tx care.Tx) error {
		return access.RemovePasskey(tx, callOf(ctx).who.Actor, req.GetPasskeyId())
	})
}

func (a *accessService) CreateRecoveryCodes(ctx context.Context, _ *pb.CreateRecoveryCodesRequest) (*pb.CreateRecoveryCodesResponse, error) {
	out := &pb.CreateRecoveryCodesResponse{}
	err := a.s.store.Write(ctx, func(tx care.Tx) (err error) {
		out.Codes, err = access.NewRecoveryCodes(tx, callOf(ctx).who.Actor, a.s.now())
		return err
	})
	return out, err
}

func (a *accessService) SignOut(ctx context.Context, _ *pb.SignOutRequest) (*pb.SignOutResponse, error) {
	c := callOf(ctx)
	if c.who.Kind == care.Nobody {
		return &pb.SignOutResponse{}, nil
	}
	err := a.s.store.Write(ctx, func(tx care.Tx) error { return a.s.sessions.End(tx, c.who.secret, a.s.now()) })
	if err == nil {
		c.who.keeps(c.who.Actor, "")
	}
	return &pb.SignOutResponse{}, err
}

func (a *accessService) EndOtherSignIns(ctx context.Context, _ *pb.EndOtherSignInsRequest) (*pb.EndOtherSignInsResponse, error) {
	out := &pb.EndOtherSignInsResponse{}
	c := callOf(ctx)
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		ended, err := access.EndOthers(tx, c.who.Actor, c.who.secret, a.s.now())
		out.Ended = int32(ended)
		return err
	})
	return out, err
}

func (a *accessService) ListPeople(ctx context.Context, _ *pb.ListPeopleRequest) (*pb.ListPeopleResponse, error) {
	out := &pb.ListPeopleResponse{}
	err := a.s.store.Read(ctx, func(tx care.Tx) error {
		out.People = nil
		who := callOf(ctx).who.Actor
		people, err := tx.ListUsers(who.BreederID)
		if err != nil {
			return err
		}
		open, err := access.List(tx, who.BreederID, care.SecretSession, a.s.now())
		if err != nil {
			return err
		}
		devices := map[string]int32{}
		for _, s := range open {
			devices[s.UserID]++
		}
		for i := range people {
			keys, err := tx.ListPasskeys(who.BreederID, people[i].ID)
			if err != nil {
				return err
			}
			p := personToProto(&people[i])
			p.Devices, p.Passkeys = devices[people[i].ID], int32(len(keys))
			out.People = append(out.People, p)
		}
		return nil
	})
	return out, err
}

func (a *accessService) CreateHelper(ctx context.Context, req *pb.CreateHelperRequest) (*pb.CreateHelperResponse, error) {
	out := &pb.CreateHelperResponse{}
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		u, err := access.AddHelper(tx, callOf(ctx).who.Actor, req.GetDisplayName(), a.s.now())
		out.Person = personToProto(&u)
		return err
	})
	return out, err
}

func (a *accessService) RenamePerson(ctx context.Context, req *pb.RenamePersonRequest) (*pb.RenamePersonResponse, error) {
	out := &pb.RenamePersonResponse{}
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		u, err := access.Rename(tx, callOf(ctx).who.Actor, req.GetPersonId(), req.GetDisplayName())
		out.Person = personToProto(&u)
		return err
	})
	if err == nil {
		a.s.followup.Changed(callOf(ctx).who.BreederID)
	}
	return out, err
}

func (a *accessService) DeleteHelper(ctx context.Context, req *pb.DeleteHelperRequest) (*pb.DeleteHelperResponse, error) {
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		return access.RemoveHelper(tx, callOf(ctx).who.Actor, req.GetPersonId())
	})
	if err == nil {
		a.s.followup.Changed(callOf(ctx).who.BreederID)
	}
	return &pb.DeleteHelperResponse{}, err
}

func (a *accessService) CreateSignInLink(ctx context.Context, req *pb.CreateSignInLinkRequest) (*pb.CreateSignInLinkResponse, error) {
	out := &pb.CreateSignInLinkResponse{}
	now := a.s.now()
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		u, err := access.Colleague(tx, callOf(ctx).who.Actor, req.GetPersonId())
		if err != nil {
			return err
		}
		secret, kept, err := access.NewSignInLink(tx, u.Actor(), now)
		out.Url, out.ExpireTime = a.s.SignInURL(secret), timeToProto(kept.ExpiresAt)
		return err
	})
	return out, err
}

func personToProto(u *care.User) *pb.Person {
	return &pb.Person{PersonId: u.ID, DisplayName: u.Name, Role: string(u.Role), CreateTime: timeToProto(u.CreatedAt)}
}

func (a *accessService) CreateToken(ctx context.Context, req *pb.CreateTokenRequest) (*pb.CreateTokenResponse, error) {
	days := req.GetDays()
	if days == 0 {
		days = 365
	}
	out := &pb.CreateTokenResponse{}
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		plain, kept, err := access.NewToken(tx, callOf(ctx).who.Actor, req.GetLabel(), req.GetReadOnly(), time.Duration(days)*24*time.Hour, a.s.now())
		out.Secret, out.Token = plain, tokenToProto(&kept)
		return err
	})
	return out, err
}

func (a *accessService) ListTokens(ctx context.Context, _ *pb.ListTokensRequest) (*pb.ListTokensResponse, error) {
	out := &pb.ListTokensResponse{}
	err := a.s.store.Read(ctx, func(tx care.Tx) error {
		list, err := access.List(tx, callOf(ctx).who.BreederID, care.SecretToken, a.s.now())
		for i := range list {
			out.Tokens = append(out.Tokens, tokenToProto(&list[i]))
		}
		return err
	})
	return out, err
}

func (a *accessService) DeleteToken(ctx context.Context, req *pb.DeleteTokenRequest) (*pb.DeleteTokenResponse, error) {
	return &pb.DeleteTokenResponse{}, a.s.store.Write(ctx, func(tx care.Tx) error {
		return access.Revoke(tx, callOf(ctx).who.BreederID, req.GetTokenId())
	})
}
