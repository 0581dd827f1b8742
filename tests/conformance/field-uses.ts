import type { Node, SourceFile } from "typescript/unstable/ast";
import {
  isBindingElement,
  isIdentifier,
  isObjectBindingPattern,
  isObjectLiteralExpression,
  isPropertyAccessExpression,
  isPropertyAssignment,
  isShorthandPropertyAssignment,
  isSpreadAssignment,
} from "typescript/unstable/ast/is";
import { API, type Project, type Type } from "typescript/unstable/sync";

/** An object form by the names of its fields: any type that has all those that are required is taken for it. */
export interface Form {
  readonly name: string;
  readonly fields: readonly string[];
  readonly required: readonly string[];
}

/** Which fields are written, and which are read, by form and field as `receipt.lost`. */
export interface FieldUses {
  readonly producers: ReadonlySet<string>;
  readonly readers: ReadonlySet<string>;
}

/**
 * The compiler is asked for no type whose answer could say only what an earlier one has said: it takes most of the time.
 * @param isCounted whether uses in a file count @param projects paths of tsconfig files
 */
export function fieldUses(
  forms: readonly Form[],
  projects: readonly string[],
  isCounted: (fileName: string) => boolean,
): FieldUses {
  const producers = new Set<string>();
  const readers = new Set<string>();
  const api = new API();
  try {
    const snapshot = api.updateSnapshot({ openProjects: [...projects] });
    for (const path of projects) {
      const project = snapshot.getProject(path);
      if (project === undefined) throw new Error(`No project ${path}`);
      new ProjectScan(project, forms, producers, readers).take(isCounted);
    }
  } finally {
    api.close();
  }
  return { producers, readers };
}

/** A place in the source that names a field, and the node whose type tells of which form. */
interface Mention {
  readonly of: Node;
  readonly field: string;
  readonly isWritten: boolean;
}

/** An object literal and what is spread in it. */
interface Spread {
  readonly of: Node;
  readonly from: Node;
}

class ProjectScan {
  readonly #project: Project;
  readonly #forms: readonly Form[];
  readonly #formsWith: ReadonlyMap<string, readonly Form[]>;
  readonly #formsOf = new Map<number, readonly Form[]>();
  readonly #namesOf = new Map<number, readonly string[]>();
  readonly #producers: Set<string>;
  readonly #readers: Set<string>;

  constructor(project: Project, forms: readonly Form[], producers: Set<string>, readers: Set<string>) {
    this.#project = project;
    this.#forms = forms;
    const names = forms.flatMap(({ fields }) => fields);
    this.#formsWith = new Map(names.map((name) => [name, forms.filter(({ fields }) => fields.includes(name))]));
    this.#producers = producers;
    this.#readers = readers;
  }

  take(isCounted: (fileName: string) => boolean): void {
    const { program, checker } = this.#project;
    for (const name of program.getSourceFileNames().filter(isCounted)) {
      const file = program.getSourceFile(name);
      if (file === undefined) continue;
      const { mentions, spreads } = this.#mentionsIn(file);
      const spreadTypes = spreads.length === 0 ? [] : checker.getTypeAtLocation(spreads.map(({ from }) => from));
      for (const [index, { of }] of spreads.entries()) {
        const type = spreadTypes[index];
        for (const field of type === undefined ? [] : this.#fieldsBrought(type))
          mentions.push({ of, field, isWritten: true });
      }
      const wanted = mentions.filter((mention) => this.#isNews(mention));
      const types = wanted.length === 0 ? [] : checker.getTypeAtLocation(wanted.map(({ of }) => of));
      for (const [index, mention] of wanted.entries()) {
        const type = types[index];
        if (type === undefined || !this.#isNews(mention)) continue;
        const { field, isWritten } = mention;
        for (const form of this.#formsThatFit(type)) {
          if (form.fields.includes(field)) (isWritten ? this.#producers : this.#readers).add(`${form.name}.${field}`);
        }
      }
    }
  }

  /** Whether some form has that field of which no such use is known yet. */
  #isNews({ field, isWritten }: Mention): boolean {
    const uses = isWritten ? this.#producers : this.#readers;
    return (this.#formsWith.get(field) ?? []).some(({ name }) => !uses.has(`${name}.${field}`));
  }

  #mentionsIn(file: SourceFile): { mentions: Mention[]; spreads: Spread[] } {
    const mentions: Mention[] = [];
    const spreads: Spread[] = [];
    const note = (of: Node, field: string, isWritten: boolean): void => {
      mentions.push({ of, field, isWritten });
    };
    const visit = (node: Node): void => {
      if (isPropertyAccessExpression(node) && isIdentifier(node.name)) note(node.expression, node.name.text, false);
      if (isObjectBindingPattern(node)) {
        for (const element of node.elements) {
          if (!isBindingElement(element)) continue;
          const name = element.propertyName ?? element.name;
          if (name !== undefined && isIdentifier(name)) note(node, name.text, false);
        }
      }
      if (isObjectLiteralExpression(node)) {
        for (const property of node.properties) {
          const isNamed = isPropertyAssignment(property) || isShorthandPropertyAssignment(property);
          if (isNamed && isIdentifier(property.name)) note(node, property.name.text, true);
          if (isSpreadAssignment(property)) spreads.push({ of: node, from: property.expression });
        }
      }
      node.forEachChild(visit);
    };
    visit(file);
    return { mentions, spreads };
  }

  /** What a spread writes: nothing where it only carries a whole form on. */
  #fieldsBrought(type: Type): readonly string[] {
    if (this.#formsThatFit(type).length > 0) return [];
    return (type.isUnionType() ? (type.getTypes() ?? []) : [type]).flatMap((part) => this.#namesIn(part));
  }

  #namesIn(type: Type): readonly string[] {
    const known = this.#namesOf.get(type.id);
    if (known !== undefined) return known;
    const names = this.#project.checker.getPropertiesOfType(type).map(({ name }) => String(name));
    this.#namesOf.set(type.id, names);
    return names;
  }

  #formsThatFit(type: Type): readonly Form[] {
    const known = this.#formsOf.get(type.id);
    if (known !== undefined) return known;
    const parts = type.isUnionType() ? (type.getTypes() ?? []) : [type];
    const forms =
      parts.length === 1
        ? this.#formsOfOne(type)
        : [...new Set(parts.flatMap((part) => [...this.#formsThatFit(part)]))];
    this.#formsOf.set(type.id, forms);
    return forms;
  }

  #formsOfOne(type: Type): readonly Form[] {
    if (!type.isObjectType() && !type.isIntersectionType()) return [];
    const names = new Set(this.#namesIn(type));
    return this.#forms.filter(({ required }) => required.every((field) => names.has(field)));
  }
}
