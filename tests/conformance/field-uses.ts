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

/** Files in which a field is written or read, by form and field as `receipt.lost`. */
export interface FieldUses {
  readonly producers: ReadonlyMap<string, ReadonlySet<string>>;
  readonly readers: ReadonlyMap<string, ReadonlySet<string>>;
}

/** @param isCounted whether uses in a file count @param projects paths of tsconfig files */
export function fieldUses(
  forms: readonly Form[],
  projects: readonly string[],
  isCounted: (fileName: string) => boolean,
): FieldUses {
  const producers = new Map<string, Set<string>>();
  const readers = new Map<string, Set<string>>();
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

class ProjectScan {
  readonly #project: Project;
  readonly #forms: readonly Form[];
  readonly #names: ReadonlySet<string>;
  readonly #formsOf = new Map<number, readonly Form[]>();
  readonly #producers: Map<string, Set<string>>;
  readonly #readers: Map<string, Set<string>>;

  constructor(
    project: Project,
    forms: readonly Form[],
    producers: Map<string, Set<string>>,
    readers: Map<string, Set<string>>,
  ) {
    this.#project = project;
    this.#forms = forms;
    this.#names = new Set(forms.flatMap(({ fields }) => fields));
    this.#producers = producers;
    this.#readers = readers;
  }

  take(isCounted: (fileName: string) => boolean): void {
    const { program, checker } = this.#project;
    for (const name of program.getSourceFileNames().filter(isCounted)) {
      const file = program.getSourceFile(name);
      if (file === undefined) continue;
      const mentions = this.#mentionsIn(file);
      const types = mentions.length === 0 ? [] : checker.getTypeAtLocation(mentions.map(({ of }) => of));
      for (const [index, { field, isWritten }] of mentions.entries()) {
        const type = types[index];
        if (type === undefined) continue;
        for (const form of this.#formsThatFit(type)) {
          if (!form.fields.includes(field)) continue;
          const uses = isWritten ? this.#producers : this.#readers;
          const key = `${form.name}.${field}`;
          uses.set(key, (uses.get(key) ?? new Set()).add(name));
        }
      }
    }
  }

  #mentionsIn(file: SourceFile): Mention[] {
    const mentions: Mention[] = [];
    const note = (of: Node, field: string, isWritten: boolean): void => {
      if (this.#names.has(field)) mentions.push({ of, field, isWritten });
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
          if (isSpreadAssignment(property)) {
            const spread = this.#project.checker.getTypeAtLocation(property.expression);
            if (spread === undefined || this.#formsThatFit(spread).length > 0) continue;
            for (const part of spread.isUnionType() ? (spread.getTypes() ?? []) : [spread]) {
              for (const { name } of this.#project.checker.getPropertiesOfType(part)) note(node, String(name), true);
            }
          }
        }
      }
      node.forEachChild(visit);
    };
    visit(file);
    return mentions;
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
    const names = new Set(this.#project.checker.getPropertiesOfType(type).map(({ name }) => String(name)));
    return this.#forms.filter(({ required }) => required.every((field) => names.has(field)));
  }
}
