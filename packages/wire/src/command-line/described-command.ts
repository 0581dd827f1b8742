/** A command as its parser knows it, as far as pages and completion tell of it. */
export interface DescribedCommand {
  readonly commands: readonly DescribedCommand[];
  readonly options: readonly DescribedOption[];
  readonly registeredArguments: readonly {
    readonly description: string;
    readonly argChoices?: readonly string[];
    name(): string;
  }[];
  name(): string;
  description(): string;
  usage(): string;
}

export interface DescribedOption {
  /** As it is written: `--rate <rate>`. */
  readonly flags: string;
  readonly long?: string;
  readonly description: string;
  readonly hidden: boolean;
  readonly argChoices?: readonly string[];
  /** It takes a value. */
  readonly required: boolean;
  readonly defaultValue?: unknown;
}

/** The commands below one that help shows. */
export const shownCommands = (command: DescribedCommand): readonly DescribedCommand[] =>
  command.commands.filter((one) => (one as unknown as { readonly _hidden?: boolean })._hidden !== true);

export const shownOptions = (command: DescribedCommand): readonly DescribedOption[] =>
  command.options.filter(({ hidden }) => !hidden);
