import { expect, test } from 'vitest';

// A browser takes longer for the first of these than for drawing the triage list.
test('no script makes a format as it is loaded, nor does a row of the triage list', async () => {
  const made: string[] = [];
  const spied = <C extends new (...args: never[]) => object>(kind: string, of: C): C =>
    new Proxy(of, {
      construct(target, args, as) {
        made.push(kind);
        return Reflect.construct(target, args, as) as object;
      },
    });
  Intl.Collator = spied('collator', Intl.Collator);
  Intl.DateTimeFormat = spied('date', Intl.DateTimeFormat);
  Intl.NumberFormat = spied('number', Intl.NumberFormat);

  await import('../src/ui/keeper/index');
  await import('../src/ui/breeder/index');
  const { ago, day } = await import('../src/core/time');
  const { say } = await import('../src/core/say');
  const now = new Date();
  const before = (days: number) => new Date(now.getTime() - days * 86_400_000).toISOString();
  expect(say('last heard {ago}', { ago: ago(before(12), now) })).toBe('last heard 12 days ago');
  expect(day(before(0), now)).toBe('today');
  expect(made).toEqual([]);

  expect(say('more than {n}', { n: 12_000 })).toBe('more than 12,000');
  expect(ago(before(100), now)).toMatch(/^on /);
  expect(made).toEqual(['number', 'date']);
});
