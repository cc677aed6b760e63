// What the app says, read out of its source: for the tests of the catalogues.
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { parseSync } from 'vite';

const src = join(import.meta.dirname, '../src');
// It holds its sentences as they are: it runs in the app and in the service.
const engine = join(import.meta.dirname, '../../internal/measure');

interface Node {
  type: string;
  start: number;
  [key: string]: unknown;
}

export interface Found {
  /** The form that catalogues know it by. */
  form: string;
  counted: boolean;
  at: string;
}

const isNode = (v: unknown): v is Node => typeof v === 'object' && v !== null && typeof (v as Node).type === 'string';

function visit(node: Node, see: (n: Node) => void): void {
  see(node);
  for (const value of Object.values(node)) {
    if (Array.isArray(value)) for (const v of value) isNode(v) && visit(v, see);
    else if (isNode(value)) visit(value, see);
  }
}

const textOf = (n: unknown): string | undefined =>
  isNode(n) && n.type === 'Literal' && typeof n['value'] === 'string' ? n['value'] : undefined;

const list = (names: Iterable<string>) => [...new Set(names)].sort((a, b) => a.localeCompare(b)).join(' ');

/** The places of a form, in order of their names. */
export const placesOf = (form: string) => list([...form.matchAll(/\{(\w+)\}/g)].map((m) => m[1] ?? ''));

const namesIn = (values: Node | undefined) =>
  list(((values?.['properties'] ?? []) as Node[]).map((p) => String((p['key'] as Node | undefined)?.['name'])));

/** Attributes and fields that people read or hear. */
const read = new Set(
  'label title hint placeholder alt aria-label aria-valuetext otherwise means problem words text keeper unit'.split(
    ' ',
  ),
);

/** Letters that are more than a unit or the name of a key. */
const words = (text: string) => /[a-z]{3}/i.test(text.replace(/&\w+;/g, ''));

export interface Read {
  forms: Found[];
  /** What stands there in English without being said, and calls of say that cannot be read or do not give what they need. */
  unsaid: string[];
}

export function readForms(): Read {
  const forms: Found[] = [];
  const unsaid: string[] = [];
  for (const file of readdirSync(src, { recursive: true }) as string[]) {
    if (!/\.tsx?$/.test(file) || file.startsWith('api/gen/') || file === 'core/say.ts') continue;
    const source = readFileSync(join(src, file), 'utf8');
    const { program, errors } = parseSync(file, source);
    if (errors.length > 0) throw new Error(`${file}: ${errors[0]?.message}`);
    const at = (n: Node) => `${file}:${source.slice(0, n.start).split('\n').length}`;
    const inSay = new Set<Node>();
    visit(program as unknown as Node, (n) => {
      if (n.type === 'CallExpression' && (n['callee'] as Node)['name'] === 'say')
        visit((n['arguments'] as Node[])[0] as Node, (m) => inSay.add(m));
      const sentence = textOf(n);
      if (sentence !== undefined && !inSay.has(n) && /^[A-Z“].* .*[.?:]$/.test(sentence))
        unsaid.push(`${at(n)} ${sentence}`);
      if (n.type === 'JSXText' && words(String(n['value']))) unsaid.push(`${at(n)} ${String(n['value']).trim()}`);
      if (n.type === 'JSXAttribute') {
        const name = (n['name'] as Node)['name'];
        const text = textOf(n['value']);
        if (read.has(String(name)) && text !== undefined && words(text)) unsaid.push(`${at(n)} ${name}="${text}"`);
      }
      if (n.type === 'Property') {
        const name = String((n['key'] as Node)['name']);
        const text = textOf(n['value']);
        if (read.has(name) && text !== undefined && words(text)) unsaid.push(`${at(n)} ${name}: '${text}'`);
      }
      if (n.type !== 'CallExpression' || (n['callee'] as Node)['name'] !== 'say') return;
      const [first, second] = n['arguments'] as Node[];
      const given = namesIn(second);
      const form = textOf(first);
      if (form !== undefined) {
        if (given !== placesOf(form)) unsaid.push(`${at(n)} ${form}: is given ${given || 'nothing'}`);
        return forms.push({ form, counted: false, at: at(n) });
      }
      const fields = new Map(
        first?.type === 'ObjectExpression'
          ? (first['properties'] as Node[]).map((p) => [(p['key'] as Node)['name'], textOf(p['value'])])
          : [],
      );
      const other = fields.get('other');
      if (fields.size === 2 && fields.get('one') !== undefined && other !== undefined) {
        if (given !== placesOf(`{n} ${other}`)) unsaid.push(`${at(n)} ${other}: is given ${given || 'nothing'}`);
        return forms.push({ form: other, counted: true, at: at(n) });
      }
      return unsaid.push(`${at(n)} say() needs its form as a text`);
    });
  }
  for (const file of readdirSync(engine)) {
    if (!file.endsWith('.go') || file.endsWith('_test.go')) continue;
    for (const [, text] of readFileSync(join(engine, file), 'utf8').matchAll(/"([A-Z][^"\n]* [^"\n]*\. ?)"/g))
      for (const form of (text ?? '').trim().split(/(?<=\.) /)) forms.push({ form, counted: false, at: file });
  }
  return { forms, unsaid };
}
